"""Does a house help, and does it ever harm: ``python -m calibration.house --houses 500``.

Simulated makers, because no set of many batches by many makers is at hand: their batches are drawn
from the model itself, so the gain is an upper bound. Each maker finishes six batches with readings
as a maker takes them; four more are then forecast before their first reading, once from the
population and once from what the house has learned after one, three and six batches. The score is
the continuous ranked probability score of days to dry, and how often the 90 % band held.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mustwright.kinetics import members as members_
from mustwright.kinetics import simulate
from mustwright.kinetics.inputs import Conditions, MustAtPitch, MustReading
from mustwright.kinetics.parameters import EFFECTS, population, population_of_house
from mustwright.kinetics.update import MODEL_SD_GRAVITY, posterior
from mustwright.learning.batch_summary import BatchSummary, summary_of_members
from mustwright.learning.house import house_of, prior_for
from mustwright.planning.likeness import Likeness

Floats = NDArray[np.float64]
HERE = Path(__file__).parent
READ_H = np.array([24.0, 48.0, 72.0, 120.0, 168.0, 240.0, 336.0])
SD_GRAVITY = 0.0015
AFTER = (1, 3, 6)
NEW = 4
HORIZON_H = 1008.0
ROWS = {0.0: 0.4, 0.4: 0.2, 0.7: 0.4}  # share of the house, and of the makers simulated
LIKE = Likeness("low-demand neutral", "clover honey")


@dataclass(frozen=True)
class Made:
    """One must that every simulated maker makes."""

    must: MustAtPitch
    conditions: Conditions


def batches(count: int) -> list[Made]:
    """Well-fed musts as makers make them; the same for every maker, so that one run serves all."""
    random = np.random.default_rng(99)
    made = []
    for _ in range(count):
        must = MustAtPitch.from_gravity(
            float(random.uniform(1.075, 1.105)),
            19.0,
            amino_n_mg_l=float(random.uniform(190, 280)),
        )
        warm = float(random.uniform(17, 23))
        made.append(Made(must, Conditions(temperature_c=warm, horizon_h=HORIZON_H)))
    return made


def truths(share: float, makers: int, count: int, random: np.random.Generator) -> Floats:
    """Effects of every batch: effects by batches by makers."""
    house = random.standard_normal((len(EFFECTS), 1, makers))
    own = random.standard_normal((len(EFFECTS), count, makers))
    return np.sqrt(share) * house + np.sqrt(1 - share) * own


def dry_days(made: Made, z: Floats, house: Any = None) -> Floats:
    """Days to dry of fermentations; the horizon where they do not come there."""
    who = population_of_house(made.must.medium, house) or population(made.must.medium)
    built = members_.build(made.must, made.conditions, z, who)
    run = simulate.run(built, made.conditions, (), np.array([HORIZON_H]), made.must.gravity, 1.0)
    return np.minimum(run.dry_at_h, HORIZON_H) / 24


def gravities(made: Made, z: Floats, random: np.random.Generator) -> Floats:
    """What is read, readings by makers."""
    who = population(made.must.medium)
    built = members_.build(made.must, made.conditions, z, who)
    run = simulate.run(built, made.conditions, (), READ_H, made.must.gravity, 1.0)
    error = np.hypot(SD_GRAVITY, MODEL_SD_GRAVITY)
    seen = run.gravity[np.searchsorted(run.times_h, READ_H)].astype(float)
    return seen + error * random.standard_normal(seen.shape)


def learned(made: Made, seen: Floats, name: str, members: int) -> BatchSummary:
    """What one finished batch says."""
    readings = [
        MustReading(float(t), gravity=min(max(float(g), 0.97), 1.2), sd_gravity=SD_GRAVITY)
        for t, g in zip(READ_H, seen, strict=True)
    ]
    who = population(made.must.medium)
    found = posterior(made.must, (), made.conditions, readings, members, 17, who)
    return summary_of_members(name, LIKE, found.z, found.verdict.explained)


def crps(members: Floats, truth: float) -> float:
    """Continuous ranked probability score of an ensemble."""
    x = np.sort(members)
    n = x.size
    spread = 2 * (x * (2 * np.arange(1, n + 1) - n - 1)).sum() / n**2
    return float(np.abs(x - truth).mean() - spread / 2)


def row(share: float, makers: int, members: int, seed: int) -> dict[str, Any]:
    """Scores of makers with one share."""
    random = np.random.default_rng(seed)
    past, new = batches(AFTER[-1] + NEW)[: AFTER[-1]], batches(AFTER[-1] + NEW)[AFTER[-1] :]
    z = truths(share, makers, AFTER[-1] + NEW, random)
    seen = [gravities(made, z[:, k], random) for k, made in enumerate(past)]
    facts = [dry_days(made, z[:, AFTER[-1] + k]) for k, made in enumerate(new)]
    draw = members_.draw(members, 1)
    plain = [dry_days(made, draw) for made in new]
    scores: dict[Any, list[list[float]]] = {count: [] for count in (0, *AFTER)}
    held: dict[Any, list[float]] = {count: [] for count in (0, *AFTER)}
    width: dict[Any, list[float]] = {count: [] for count in (0, *AFTER)}
    for maker in range(makers):
        told = [
            learned(made, read[:, maker], f"{k}", members)
            for k, (made, read) in enumerate(zip(past, seen, strict=True))
        ]
        for count in (0, *AFTER):
            house = prior_for(house_of(told[:count]), LIKE)
            runs = plain if house is None else [dry_days(made, draw, house) for made in new]
            mine = []
            for days, fact in zip(runs, facts, strict=True):
                low, high = np.quantile(days, (0.05, 0.95), method="nearest")
                mine.append(crps(days, float(fact[maker])))
                held[count].append(float(low <= fact[maker] <= high))
                width[count].append(float(high - low))
            scores[count].append(mine)
    return _summed(share, makers, scores, held, width)


def _summed(share: float, makers: int, scores: Any, held: Any, width: Any) -> dict[str, Any]:
    base = np.array(scores[0]).mean(axis=1)
    random = np.random.default_rng(1)
    rows = []
    for count in AFTER:
        mine = np.array(scores[count]).mean(axis=1)
        gain = 1 - mine.sum() / base.sum()
        picks = random.integers(makers, size=(1000, makers))
        error = np.std(1 - mine[picks].sum(axis=1) / base[picks].sum(axis=1))
        rows.append(
            {
                "after": count,
                "gain": round(float(gain), 4),
                "gain_se": round(float(error), 4),
                "held_90": round(float(np.mean(held[count])), 4),
                "width_days": round(float(np.mean(width[count])), 2),
            }
        )
    return {
        "share": share,
        "makers": makers,
        "population_held_90": round(float(np.mean(held[0])), 4),
        "population_width_days": round(float(np.mean(width[0])), 2),
        "rows": rows,
    }


def main() -> None:
    """Simulate, print, and keep the figures beside this file."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--houses", type=int, default=500)
    parser.add_argument("--members", type=int, default=1000)
    parser.add_argument("--keep", action="store_true", help="Write house.json.")
    asked = parser.parse_args()
    began = time.time()
    found = []
    for share, part in ROWS.items():
        found.append(row(share, round(asked.houses * part), asked.members, int(100 * share) + 1))
        print(json.dumps(found[-1]), f"{time.time() - began:.0f} s", flush=True)
    if asked.keep:
        text = json.dumps({"members": asked.members, "rows": found}, indent=1) + "\n"
        (HERE / "house.json").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
