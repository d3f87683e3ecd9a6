"""Does a house help, and does it ever harm: ``python -m calibration.house --houses 500``.

Simulated makers, because no set of many batches by many makers is at hand: their batches are drawn
from the model itself, so the gain is an upper bound. Each maker finishes six batches with readings
as a maker takes them; four more are then forecast before their first reading, once from the
population and once from what the house has learned after one, three and six batches.

The score is the continuous ranked probability score of days to dry, the horizon for never. How
often the 90 % band holds is asked of what has two finite ends: days to dry *of the batches that get
there, in the band of the runs that get there*, and gravity at 3, 7 and 14 days of all batches. The
band of days over all runs is no such test: about one run in twelve never gets dry, so its upper end
is "never", nothing can lie above it, and a forecast without fault holds 95 times in a hundred. That
a batch stops is a chance of its own, compared with the share that did. Both are kept beside.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mustwright.kinetics import members as members_
from mustwright.kinetics import simulate, update
from mustwright.kinetics.bands import band
from mustwright.kinetics.house_prior import HousePrior
from mustwright.kinetics.inputs import Conditions, MustAtPitch, MustReading
from mustwright.kinetics.parameters import EFFECTS, population, population_of_house
from mustwright.kinetics.update import MODEL_SD_GRAVITY, posterior
from mustwright.learning.batch_summary import BatchSummary, summary_of_posterior
from mustwright.learning.house import house_of, prior_for
from mustwright.planning.likeness import Likeness

Floats = NDArray[np.float64]
HERE = Path(__file__).parent
READ_H = np.array([24.0, 48.0, 72.0, 120.0, 168.0, 240.0, 336.0])
FORESEEN_H = np.array([72.0, 168.0, 336.0])
SD_GRAVITY = 0.0015
AFTER = (1, 3, 6)
PAST, NEW = AFTER[-1], 4
TIMES = 32  # each new must is made, by the same maker: what one batch does by chance averages out
HORIZON_H = 1008.0
SEED = 20261130  # of the makers reported; nothing was chosen by them
IN_TURN = (0.0, 0.7, 0.4, 0.7, 0.0)  # share of the house, maker after maker
FORECAST_MEMBERS = 500
STEP_H = 2.0  # of runs: gravity is within 0.0002 of that of steps a quarter as long, dryness 1.3 h
LIKE = Likeness("low-demand neutral", "clover honey")


@dataclass(frozen=True)
class Made:
    """One must that every simulated maker makes."""

    must: MustAtPitch
    conditions: Conditions

    def run(self, z: Floats, at_h: Floats, step_h: float, house: HousePrior | None = None) -> Any:
        """Fermentations of it with these effects."""
        who = population_of_house(self.must.medium, house) or population(self.must.medium)
        built = members_.build(self.must, self.conditions, z, who)
        return simulate.run(built, self.conditions, (), at_h, self.must.gravity, step_h)


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


def truths(share: float, random: np.random.Generator) -> tuple[Floats, Floats]:
    """Effects of a maker's batches: past by effects, and new by effects by times made."""
    house = random.standard_normal(len(EFFECTS))
    own = random.standard_normal((PAST, len(EFFECTS)))
    later = random.standard_normal((NEW, len(EFFECTS), TIMES))
    rest = np.sqrt(1 - share)
    past = np.sqrt(share) * house + rest * own
    return past, np.sqrt(share) * house[:, None] + rest * later


@dataclass(frozen=True)
class Course:
    """Days to dry, infinite for never, and gravity at `FORESEEN_H`, of fermentations."""

    days: Floats
    gravity: Floats


def foreseen(made: Made, z: Floats, house: HousePrior | None = None) -> Course:
    """How fermentations with these effects go."""
    run = made.run(z, np.append(FORESEEN_H, HORIZON_H), STEP_H, house)
    return Course(run.dry_at_h / 24, run.gravity[:-1].astype(float))


def learned(made: Made, z: Floats, name: str, members: int, random: Any) -> BatchSummary:
    """What one finished batch says to who reads it."""
    error = np.hypot(SD_GRAVITY, MODEL_SD_GRAVITY) * random.standard_normal(READ_H.size)
    seen = made.run(z[:, None], READ_H, simulate.STEP_H).gravity[:, 0].astype(float) + error
    readings = [
        MustReading(float(t), gravity=min(max(float(g), 0.97), 1.2), sd_gravity=SD_GRAVITY)
        for t, g in zip(READ_H, seen, strict=True)
    ]
    who = population(made.must.medium)
    found = posterior(made.must, (), made.conditions, readings, members, 17, who)
    return summary_of_posterior(name, LIKE, found)


def crps(members: Floats, truths: Floats) -> Floats:
    """Continuous ranked probability score of an ensemble, by truth."""
    x = np.sort(members)
    n = x.size
    spread = 2 * (x * (2 * np.arange(1, n + 1) - n - 1)).sum() / n**2
    return np.asarray(np.abs(x[:, None] - truths).mean(axis=0) - spread / 2)


def judged(told: Course, facts: Course) -> dict[str, Floats]:
    """A forecast against batches of the must it was made for.

    Parameters
    ----------
    told, facts : Course
        Members of the forecast, and the batches.

    Returns
    -------
    dict of str to ndarray
        By batch: ``crps`` [d]; ``chance`` of getting dry and whether it did, ``dry``; ``all`` and
        ``there``, the side of the 90 % band of days on which it lies, over all runs and over
        those that get dry (nan for a batch that does not): -1 below, 0 inside, 1 above;
        ``never``, whether the first band ends with never; ``width`` of the second [d], and the
        ``place`` of the batch among its runs, 0 to 1; ``gravity``, the side at each of
        `FORESEEN_H`, times by batches.
    """
    last, days = HORIZON_H / 24, facts.days
    dry = np.isfinite(days)
    there = np.sort(told.days[np.isfinite(told.days)])
    whole, within, gravity = band(told.days), band(there), band(told.gravity)
    found = {
        "crps": crps(np.minimum(told.days, last), np.minimum(days, last)),
        "chance": there.size / told.days.size,
        "dry": dry,
        "all": _side(days, whole.p05, whole.p95),
        "never": np.isinf(whole.p95),
        "there": np.where(dry, _side(days, within.p05, within.p95), np.nan),
        "place": np.where(dry, np.searchsorted(there, days) / there.size, np.nan),
        "width": within.p95 - within.p05,
    }
    sides = _side(facts.gravity, gravity.p05[:, None], gravity.p95[:, None])
    return {name: np.broadcast_to(one, days.shape) for name, one in found.items()} | {
        "gravity": sides
    }


def _side(value: Floats, low: Any, high: Any) -> Floats:
    return np.where(value > high, 1.0, np.where(value < low, -1.0, 0.0))


@dataclass
class Study:
    """Makers simulated one after the other."""

    members: int

    def __post_init__(self) -> None:
        made = batches(PAST + NEW)
        self.past, self.new = made[:PAST], made[PAST:]
        self.draw = members_.draw(FORECAST_MEMBERS, 1)
        self.plain = [foreseen(one, self.draw) for one in self.new]

    def maker(self, number: int) -> dict[int, dict[str, Floats]]:
        """Forecasts of a maker's new batches against the facts, by batches learned from.

        Parameters
        ----------
        number : int
            From 0; the same number is the same maker, however many there are.
        """
        random = np.random.default_rng((SEED, number))
        past, new = truths(share_of(number), random)
        facts = [foreseen(one, z) for one, z in zip(self.new, new, strict=True)]
        told = [
            learned(one, z, f"{k}", self.members, random)
            for k, (one, z) in enumerate(zip(self.past, past, strict=True))
        ]
        found = {}
        for count in (0, *AFTER):
            house = prior_for(house_of(told[:count]), LIKE)
            runs = [foreseen(one, self.draw, house) for one in self.new] if house else self.plain
            all_of_them = [judged(*both) for both in zip(runs, facts, strict=True)]
            found[count] = {
                name: np.concatenate([one[name] for one in all_of_them], axis=-1)
                for name in all_of_them[0]
            }
        return found


def share_of(number: int) -> float:
    """Share of the house of a maker."""
    return IN_TURN[number % len(IN_TURN)]


def summed(share: float, makers: Sequence[dict[int, dict[str, Floats]]]) -> dict[str, Any]:
    """Makers with one share, together: gains against the population, and what each band held."""
    picks = np.random.default_rng(1).integers(len(makers), size=(1000, len(makers)))
    base = np.array([maker[0]["crps"].mean() for maker in makers])
    rows = []
    for count in AFTER:
        mine = np.array([maker[count]["crps"].mean() for maker in makers])
        gain = {"gain": 1 - mine.sum() / base.sum()}
        gain["gain_se"] = np.std(1 - mine[picks].sum(axis=1) / base[picks].sum(axis=1))
        rows.append({"after": count} | _rounded(gain) | _bands([m[count] for m in makers], picks))
    population_ = _bands([maker[0] for maker in makers], picks)
    return {"share": share, "makers": len(makers), "population": population_, "rows": rows}


def _bands(makers: Sequence[dict[str, Floats]], picks: NDArray[np.int64]) -> dict[str, Any]:
    """How often the bands held, what was missed where, and the chance of getting dry."""
    every = {name: np.stack([maker[name] for maker in makers]) for name in makers[0]}
    held, dry = (every["there"] == 0).sum(axis=1), every["dry"].sum(axis=1)
    told = {
        "held_90": held.sum() / dry.sum(),
        "held_90_se": np.std(held[picks].sum(axis=1) / dry[picks].sum(axis=1)),
        "missed_below": (every["there"] < 0).sum() / dry.sum(),
        "missed_above": (every["there"] > 0).sum() / dry.sum(),
        "width_days": every["width"].mean(),
        "chance_of_dry": every["chance"].mean(),
        "share_dry": every["dry"].mean(),
        "gravity_held_90": (every["gravity"] == 0).mean(),
        "all_runs_held_90": (every["all"] == 0).mean(),
        "all_runs_missed_above": (every["all"] > 0).mean(),
        "all_runs_end_with_never": every["never"].mean(),
    }
    places = np.histogram(every["place"][every["dry"]], 10, (0.0, 1.0))[0] / dry.sum()
    return _rounded(told) | {"places_in_tenths": [round(float(part), 3) for part in places]}


def _rounded(values: dict[str, Any]) -> dict[str, float]:
    return {name: round(float(value), 4) for name, value in values.items()}


def main() -> None:
    """Simulate, print, and keep the figures beside this file."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--houses", type=int, default=500)
    parser.add_argument("--members", type=int, default=1000)
    parser.add_argument("--minutes", type=float, default=np.inf, help="Stop early and sum up.")
    parser.add_argument("--keep", action="store_true", help="Write house.json.")
    asked = parser.parse_args()
    began = time.time()
    update.STEP_H = STEP_H
    study = Study(asked.members)
    found: dict[float, list[Any]] = {share: [] for share in sorted(set(IN_TURN))}
    for number in range(asked.houses):
        if time.time() - began > 60 * asked.minutes:
            break
        found[share_of(number)].append(study.maker(number))
        if number % 10 == 9:
            print(f"{number + 1} makers, {time.time() - began:.0f} s", flush=True)
    rows = [summed(share, makers) for share, makers in found.items() if makers]
    for one in rows:
        print(json.dumps(one, indent=1))
    if asked.keep:
        text = json.dumps({"members": asked.members, "rows": rows}, indent=1) + "\n"
        (HERE / "house.json").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
