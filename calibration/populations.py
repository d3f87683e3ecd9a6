"""From fitted fermentations to populations: what is known of a medium, and what of a new one.

Three media are known: red musts (fourteen sites), a synthetic must and an agave juice (one mean
course each). What differs between media is far less certain than what differs within one, so a
medium without a fit (honey) gets the centre of the known ones and a spread that counts both.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration import honey_courses, score_fit
from calibration.measured import OUTLIER, Site, agave, columns, typed
from mustwright.kinetics import members, simulate
from mustwright.kinetics.parameters import EFFECT, Population, deviation, prior

Floats = NDArray[np.float64]

# Spread within one medium, yeast and cellar before the fit (assumed: about half of that between
# strains in parameters.toml).
WITHIN = {
    "uptake_max": 0.20,
    "lag": 0.30,
    "ethanol_half": 0.25,
    "growth_max": 0.15,
    "cell_n_min": 0.08,
    "uptake_temperature_zero": 0.7,
    "temperature_offset": 0.4,
    "sugar_osmotic": 0.08,
    "yan_error": 0.08,
    "pitch_error": 0.15,
    "capacity_rate": 0.2,
    "capacity_min": 0.10,
    "death_rate": 0.4,
    "tolerance_factor": 0.04,
    "ph_half": 0.08,
    "ethanol_yield": 0.004,
    "extract_error": 0.02,
    "pace": 0.02,
    "shape_a": 0.06,
    "shape_b": 0.10,
    "shape_c": 0.12,
    "shape_d": 0.15,
    "shape_e": 0.15,
    "potassium_loss": 0.7,
    "heat_death": 0.5,
    "lipids": 0.15,
    "osmotic_loss": 0.6,
}
# Spread of centres between media before any was seen (assumed), worth BETWEEN_SETS media.
BETWEEN = {"uptake_max": 0.15, "lag": 0.30, "ethanol_half": 0.50, "growth_max": 0.25}
BETWEEN_SETS = 3.0
# The ethanol terms of the three media lie apart by a factor; how the tail differs is in the walk of
# the shape by now, so that the term keeps the spread between strains (assumed).
TAIL_SPREAD = 0.30
HONEY_CENTRED = ("pace", "uptake_max", "growth_max", "ethanol_half", "lag")
HONEY_PRIOR = 1.0  # courses the pooled centre counts as (assumed)
HONEY_COUNT = 8192


def red_base() -> Population:
    """Red musts before their fit."""
    first = prior()
    return Population(
        "grape_with_skins", first.centre, first.spread | WITHIN, fermentable=(0.93, 0.015)
    )


def red(
    sites: list[Site],
    base: Population | None = None,
    by: score_fit.Widening = score_fit.EARLY,
) -> Population:
    """Population of red musts; the outlier site teaches nothing (it did not start at pitch)."""
    use = [site for site in sites if site.name != OUTLIER]
    return score_fit.widened(use, score_fit.fit(use, base or red_base()), by)


def agave_centres(count: int = 65536, seed: int = 3) -> dict[str, float]:
    """Posterior means of the effects that differ between media, for the agave juice."""
    wide = {"uptake_max": 0.4, "lag": 0.5, "ethanol_half": 0.9, "growth_max": 0.35}
    base = prior()
    base = replace(base, spread=base.spread | wide)
    must, conditions = agave()
    seen = columns("agave_juice_mean")
    use = slice(1, 6)  # later points are dry; 4 g/L of "fructose" stay for good
    z = members.draw(count, seed)
    run = simulate.run(members.build(must, conditions, z, base), conditions, at_h=seen["t_h"][use])
    log = np.zeros(count)
    for row, name, sd in ((2, "ethanol", 3.0), (1, "fructose", 5.0), (0, "glucose", 2.0)):
        miss = (run.kept[row] - seen[f"{name}_g_l"][use][:, None]) / sd
        log += (-2.5 * np.log1p(miss**2 / 4)).sum(axis=0)
    w = np.exp(log - log.max())
    w /= w.sum()
    far = {n: deviation(n, z[EFFECT[n]]) for n in BETWEEN}
    return {n: float(w @ (base.centre[n] + base.spread[n] * far[n])) for n in BETWEEN}


def between(centres: list[dict[str, float]]) -> tuple[dict[str, float], dict[str, float]]:
    """Centre of the media, and the spread of a new medium around it (uncertain centre included)."""
    middle, spread = {}, {}
    count = len(centres)
    for name, first in BETWEEN.items():
        values = np.array([c[name] for c in centres])
        middle[name] = float(values.mean())
        squares = float(((values - values.mean()) ** 2).sum())
        variance = (BETWEEN_SETS * first**2 + squares) / (BETWEEN_SETS + count - 1)
        spread[name] = float(np.sqrt(variance * (1 + 1 / count)))
    return middle, spread


def measured_only(sites: list[Site]) -> Population:
    """Population of a must known by its readings alone.

    Fitted to the red musts as a maker types them who knows no more than was measured, since most
    measured musts are of fruit. That cellars correct low nitrogen and seldom write it down is in
    the members (`stops.unrecorded_feed`), not here.
    """
    base = replace(red_base(), name="unknown", fermentable=(0.92, 0.02))
    return red([typed(site) for site in sites], base, score_fit.START)


def honey(base: Population, leave_out: str = "", iterations: int = 8) -> Population:
    """Population of honey musts: the pooled media, moved by the honey courses.

    The centres of pace, uptake, growth, ethanol term and lag are the weighted mean of what the
    courses say and of the pooled centre, which counts as `HONEY_PRIOR` courses; spreads stay those
    of a new medium.

    Parameters
    ----------
    base : Population
        Of `new_medium`.
    leave_out : str
        Course to leave out: ``berry`` or the name of a gas must.
    iterations : int
    """
    z = members.draw(HONEY_COUNT, 41)
    found = base
    for _ in range(iterations):
        means: dict[str, list[float]] = {n: [] for n in HONEY_CENTRED}
        for name, log in honey_courses.likelihoods(z, found).items():
            if name == leave_out:
                continue
            w = np.exp(log - log.max())
            w /= w.sum()
            for n in HONEY_CENTRED:
                value = found.centre[n] + found.spread[n] * deviation(n, z[EFFECT[n]])
                means[n].append(float(w @ value))
        centre = {
            n: (HONEY_PRIOR * base.centre[n] + sum(m)) / (HONEY_PRIOR + len(m))
            for n, m in means.items()
        }
        found = replace(found, centre=found.centre | centre)
    return replace(found, name="honey")


def new_medium(name: str, centres: list[dict[str, float]], within: Population) -> Population:
    """Population of a medium not fitted: other strain, other cellar, other must.

    Effects that were not compared between media keep the spread between strains of
    parameters.toml, where it is wider than that within one medium.
    """
    base = prior()
    middle, around = between(centres)
    spread = {n: max(s, within.spread[n]) for n, s in base.spread.items()}
    spread["extract_error"] = base.spread["extract_error"]  # no skins to soak out
    around["ethanol_half"] = min(around["ethanol_half"], TAIL_SPREAD)
    for effect, value in around.items():
        spread[effect] = float(np.hypot(value, within.spread[effect]))
    return Population(name, base.centre | middle, spread, None)
