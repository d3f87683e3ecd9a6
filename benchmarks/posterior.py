"""Does the readings update agree with a trusted sampler? ``python -m benchmarks.posterior``.

Slow (minutes). The same posterior, sampled by our sequential Monte Carlo and by emcee's ensemble
moves, for three made-up cases. What a forecast does to it afterwards, making the course ahead less
sure, is no part of it. Writes `posterior.json` beside this file.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

# Run as a file, Python looks beside this file only.
sys.path.insert(0, str(Path(__file__).parents[1]))

from mustwright.kinetics import members, simulate, update
from mustwright.kinetics.inputs import (
    Conditions,
    MustAtPitch,
    MustReading,
    NitrogenPulse,
    PulseTrigger,
)
from mustwright.kinetics.parameters import EFFECT, EFFECTS, population
from mustwright.kinetics.update import Likelihood, problem

Floats = NDArray[np.float64]
WALKERS, STEPS, BURN, THIN = 256, 12_000, 4000, 40
CONDITIONS = Conditions(20.0)
MUST = MustAtPitch.from_gravity(1.105, 19.0, ammonium_n_mg_l=10.0, amino_n_mg_l=20.0)
FEEDS = tuple(NitrogenPulse(PulseTrigger(at_h=h), 35.0, 35.0) for h in (12.0, 48.0, 96.0))
CASES = {
    "two readings": (3, (36.0, 60.0)),
    "ten readings, ten days": (5, (24, 36, 48, 60, 84, 108, 132, 168, 204, 240)),
    "six readings, grape": (8, (16, 30, 40, 50, 64, 80)),
}


def case(name: str) -> tuple[list[MustReading], Likelihood]:
    """Readings of a made-up fermentation, and the problem they pose."""
    truth, hours = CASES[name]
    who = population("grape_with_skins" if "grape" in name else "honey")
    at = np.array(hours, float)
    built = members.build(MUST, CONDITIONS, members.draw(32, 500), who)
    run = simulate.run(built, CONDITIONS, FEEDS, at, MUST.gravity)
    error = np.random.default_rng(truth).normal(0, 0.001, at.size)
    gravity = run.gravity[:, truth].astype(float) + error
    read = [MustReading(float(t), gravity=float(g)) for t, g in zip(at, gravity, strict=True)]
    return read, problem(MUST, FEEDS, CONDITIONS, read, who)


def tempered(made: Likelihood, count: int, seed: int = 1) -> Floats:
    """Members of the posterior itself, before the course ahead is made less sure."""
    random = np.random.Generator(np.random.Philox(seed + 2**33))
    return update._temper(made, members.draw(count, seed), random)[0]


def what_matters(z: Floats, made: Likelihood) -> dict[str, Floats]:
    """Quantities a maker reads, and the effects the readings tell most about."""
    built = members.build(MUST, CONDITIONS, z, made.who)
    ahead = np.array([made.at_h[-1] + 72.0, 1008.0])
    run = simulate.run(built, CONDITIONS, FEEDS, ahead, MUST.gravity)
    out = {
        "days_to_dry_at_most_42": np.minimum(run.dry_at_h, 1008.0) / 24,
        "gravity_in_three_days": run.gravity[0].astype(float),
        "final_ethanol_g_l": run.ethanol_g_l[1].astype(float),
    }
    for name in ("uptake_max", "lag", "ethanol_half", "growth_max", "fermentable"):
        out[f"effect_{name}"] = z[EFFECT[name]]
    return out


def sample(made: Likelihood, seed: int) -> tuple[Floats, float]:
    """Posterior members by emcee, and the longest autocorrelation time."""
    import emcee

    def log_probability(z: Floats) -> Floats:
        return made.log_likelihood(np.ascontiguousarray(z.T)) - 0.5 * (z**2).sum(axis=1)

    np.random.seed(seed)
    moves = [(emcee.moves.DEMove(), 0.8), (emcee.moves.DESnookerMove(), 0.1),
             (emcee.moves.StretchMove(), 0.1)]  # fmt: skip
    sampler = emcee.EnsembleSampler(
        WALKERS, len(EFFECTS), log_probability, moves=moves, vectorize=True
    )
    sampler.run_mcmc(0.3 * np.random.standard_normal((WALKERS, len(EFFECTS))), STEPS)
    chain = sampler.get_chain(discard=BURN, thin=THIN, flat=True)
    slow = sampler.get_autocorr_time(discard=BURN, quiet=True)
    return np.ascontiguousarray(chain.T), float(np.nanmax(slow))


def interval(values: Floats) -> list[float]:
    """Mean, standard deviation, 5 % and 95 %."""
    low, high = np.quantile(values, [0.05, 0.95])
    return [float(values.mean()), float(values.std()), float(low), float(high)]


def compare(name: str) -> dict[str, Any]:
    """Both samplers on one case; differences in posterior standard deviations."""
    _read, made = case(name)
    tempered(made, 320)
    begin = time.perf_counter()
    ours = tempered(made, 10_000)
    seconds = time.perf_counter() - begin
    begin = time.perf_counter()
    theirs, slow = sample(made, 7)
    long = time.perf_counter() - begin
    rows, worst = {}, 0.0
    mine, other = what_matters(ours, made), what_matters(theirs, made)
    for key in mine:
        a, b = interval(mine[key]), interval(other[key])
        apart = [abs(a[k] - b[k]) / b[1] for k in (0, 2, 3)]
        worst = max(worst, *apart)
        rows[key] = {"ours": a, "emcee": b, "apart_in_sd": apart}
    return {
        "seconds_ours_10000": seconds,
        "seconds_emcee": long,
        "emcee_longest_autocorrelation_steps": slow,
        "emcee_steps": STEPS,
        "worst_difference_in_sd": worst,
        "quantities": rows,
    }


def main() -> None:
    """Compare all cases and write the result."""
    report = {name: compare(name) for name in CASES}
    place = Path(__file__).with_suffix(".json")
    place.write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")
    for name, found in report.items():
        print(name, {k: v for k, v in found.items() if k != "quantities"})


if __name__ == "__main__":
    main()
