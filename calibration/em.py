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
from calibration.scores import judge, pool
from mustwright.kinetics import members, observe, simulate
from mustwright.kinetics.parameters import EFFECT, Population

Floats = NDArray[np.float64]
# Centre and spread are fitted; of the others only the spread, because their centre comes from
# other data or cannot be told apart here.
CENTRED = (
    "uptake_max", "lag", "ethanol_half", "growth_max", "fermentable",
    "shape_b", "shape_c", "shape_d", "shape_e",
)  # fmt: skip
# The spread of the rest is not told by Brix alone: left to it, importance weights make it drift.
FITTED = (*CENTRED, "extract_error", "yan_error", "capacity_min", "uptake_temperature_zero")
SD_BRIX = 0.45  # sampling of a tank with skins, mean of two tanks, and what the model cannot do
PRIOR_SITES = 1.5
COUNT = 8192
BRIX_PER_GRAVITY = 250.0  # around 1.050
KEPT_WIDE = ("extract_error", "lag")  # they rule the first day, where bands were never too wide
LEAST_HELD = 0.90  # share of the points of the fitted sites that 90 % bands have to hold
FACTORS = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)


def brix_of(site: Site, z: Floats, population: Population) -> Floats:
    """Brix without error, times by members."""
    built = members.build(site.must, site.conditions, z, population)
    run = simulate.run(
        built, site.conditions, site.feeds, at_h=site.t_h, gravity_0=site.must.gravity
    )
    return np.asarray(observe.brix(run.gravity.astype(float)))


def as_read(site: Site, brix: Floats) -> Floats:
    """The same with the error of reading and of sampling [Brix]."""
    unmixed = observe.unmixed_sd(site.conditions, site.must.medium)
    sd = observe.reading_sd(site.t_h, site.conditions.reading_sd_gravity, unmixed)
    noise = np.random.default_rng(9).normal(0.0, 1.0, brix.shape)
    return np.asarray(brix + BRIX_PER_GRAVITY * sd[:, None] * noise)


def weights(brix: Floats, site: Site, sd: float = SD_BRIX) -> tuple[Floats, float]:
    """Normalised weights of members, and log evidence of the site; Student errors, 4 degrees."""
    unmixed = observe.unmixed_sd(site.conditions, site.must.medium)
    scale = observe.reading_sd(site.t_h, sd, BRIX_PER_GRAVITY * unmixed)
    miss = (brix - site.brix[:, None]) / scale[:, None]
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


def narrowed(sites: list[Site], population: Population, count: int = COUNT) -> Population:
    """The population with all spreads drawn together by the factor that forecasts the sites best.

    The evidence of whole courses asks for spreads in which some member meets all odd readings of a
    site; bands of single readings are then too wide. One factor is chosen by the continuous ranked
    probability score of the sites it was fitted on, among those that hold enough of their points.
    """
    z = members.draw(count, 77)

    def by(factor: float) -> Population:
        spread = {n: s * (1.0 if n in KEPT_WIDE else factor) for n, s in population.spread.items()}
        return replace(population, spread=spread)

    def judged(factor: float) -> tuple[bool, float]:
        told = [judge(s.t_h, as_read(s, brix_of(s, z, by(factor))), s.brix) for s in sites]
        every = pool(told)
        return every.inside.mean() < LEAST_HELD, float(every.crps.mean())

    return by(min(FACTORS, key=judged))


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
