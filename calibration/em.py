"""Between-fermentation spread by Monte Carlo expectation-maximisation over sites known by Brix.

For each site, members drawn from the present population are weighted by how well they meet the
readings; the weighted members of all sites give the next population. Common random numbers make
the iteration smooth; the spread has an inverse-gamma prior worth `PRIOR_SITES` sites.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.measured import Site
from mustwright.kinetics import members, observe, simulate
from mustwright.kinetics.parameters import EFFECT, Population

Floats = NDArray[np.float64]
# Centre and spread are fitted; of the others only the spread, because their centre comes from
# other data or cannot be told apart here.
CENTRED = ("uptake_max", "lag", "ethanol_half", "growth_max", "fermentable")
FITTED = tuple(name for name in EFFECT if name != "fructose_share")
SD_BRIX = 0.30  # sampling of a tank with skins, mean of two tanks, and what the model cannot do
PRIOR_SITES = 3.0
COUNT = 8192


def brix_of(site: Site, z: Floats, population: Population) -> Floats:
    """Brix without error, times by members."""
    built = members.build(site.must, site.conditions, z, population)
    run = simulate.run(
        built, site.conditions, site.feeds, at_h=site.t_h, gravity_0=site.must.gravity
    )
    return np.asarray(observe.brix(run.gravity.astype(float)))


def weights(brix: Floats, site: Site, sd: float = SD_BRIX) -> tuple[Floats, float]:
    """Normalised weights of members, and log evidence of the site; Student errors, 4 degrees."""
    miss = (brix - site.brix[:, None]) / sd
    log = (-2.5 * np.log1p(miss**2 / 4)).sum(axis=0)
    log = np.where(np.isfinite(log), log, -1e9)
    w = np.exp(log - log.max())
    return w / w.sum(), float(log.max() + np.log(w.mean()))


def step(
    sites: list[Site], population: Population, base: Population, z: Floats
) -> tuple[Population, float]:
    """One iteration: a better population, and the log evidence of the one that came in."""
    means = {name: [] for name in FITTED}
    squares = {name: [] for name in FITTED}
    evidence = 0.0
    for site in sites:
        w, log = weights(brix_of(site, z, population), site)
        evidence += log
        for name in FITTED:
            centre, spread = _of(population, name)
            value = centre + spread * z[EFFECT[name]]
            means[name].append(float(w @ value))
            squares[name].append(float(w @ value**2))
    new = population
    for name in FITTED:
        centre = float(np.mean(means[name])) if name in CENTRED else _of(base, name)[0]
        around = float(np.mean(np.array(squares[name]) - 2 * centre * np.array(means[name])))
        first = _of(base, name)[1]
        n = len(sites)
        spread2 = (PRIOR_SITES * first**2 + n * (around + centre**2)) / (PRIOR_SITES + n)
        new = _with(new, name, centre, spread2**0.5)
    return new, evidence


def fit(
    sites: list[Site], base: Population, iterations: int = 25, seed: int = 20, count: int = COUNT
) -> tuple[Population, list[float]]:
    """The population of some sites, starting at a prior."""
    z = members.draw(count, seed)
    population, course = base, []
    for _ in range(iterations):
        population, evidence = step(sites, population, base, z)
        course.append(evidence)
    return population, course


def _of(population: Population, name: str) -> tuple[float, float]:
    if name == "fermentable":
        assert population.fermentable is not None
        return population.fermentable
    return population.centre[name], population.spread[name]


def _with(population: Population, name: str, centre: float, spread: float) -> Population:
    if name == "fermentable":
        return replace(population, fermentable=(centre, spread))
    return replace(
        population,
        centre=population.centre | {name: centre},
        spread=population.spread | {name: spread},
    )
