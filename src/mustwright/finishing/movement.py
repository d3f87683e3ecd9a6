"""Is gravity still falling: the chance from a series of readings, and when to look again."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from mustwright.errors import InputError
from mustwright.figure import ARITHMETIC, ASSUMED, Figure
from mustwright.finishing.step import finishing_data
from mustwright.texts import say

SIGMA_PER_90_PCT = 1.645


@dataclass(frozen=True)
class GravityReading:
    """One reading: days on any clock, gravity at 20 °C, its own error nine times in ten [-]."""

    day: float
    gravity: float
    error: float | None = None

    def sigma(self, otherwise: float) -> float:
        """Its standard error; `otherwise` if it has none [-]."""
        return otherwise if self.error is None else self.error / SIGMA_PER_90_PCT


@dataclass(frozen=True)
class Movement:
    """What a series says of movement.

    Parameters
    ----------
    chance : float
        That gravity still falls, 0 to 1.
    rate_per_day : float
        Fall per day where it does fall, mean [1/day].
    fall_per_day : Figure
        Straight line through the readings, with its 90 % range [1/day].
    scatter_chance : float
        Chance of scatter as wide as this from the instrument alone; small means the readings
        contradict one another.
    """

    chance: float
    rate_per_day: float
    fall_per_day: Figure
    scatter_chance: float


def movement(readings: Sequence[GravityReading], sigma: float) -> Movement:
    """Chance that gravity still falls.

    Parameters
    ----------
    readings : sequence of GravityReading
        Two or more, of different days.
    sigma : float
        Standard error of a reading without its own [-].

    Notes
    -----
    Two accounts of the readings are weighed by Bayes' rule, each as likely as the other
    beforehand: it stands still, or it falls at a steady rate that may be anything from 0.00007 to
    0.005 a day (uniform in its logarithm; both ends assumed). The level is free in both, so an
    error common to all readings cancels. With the readings centred, a rate r has the likelihood
    ``exp(-sum((g + r t)^2 / 2 sigma^2))``, each reading with its own sigma.

    Examples
    --------
    >>> still = [GravityReading(d, 1.0000) for d in (0, 7, 14, 21)]
    >>> falls = [GravityReading(d, 1.010 - 0.001 * d) for d in (0, 2, 4)]
    >>> movement(still, 0.0006).chance < 0.3, movement(falls, 0.0006).chance > 0.9
    (True, True)
    """
    days, gravities, w = _columns(readings, sigma)
    t, g = _centred(days, w), _centred(gravities, w)
    spread, slope = float(w @ t**2), float(w @ (t * g))
    if not spread > 0:
        raise InputError(
            "reading", say("needs readings of at least two different times"), len(readings)
        )
    chance, rate = _weighed(spread, slope)
    slope /= spread
    error = 1 / math.sqrt(spread)
    fall = Figure(
        0.0 - slope,
        say("per day"),
        say("least squares line through the readings, error from the instrument"),
        ARITHMETIC,
        {"sigma": sigma},
        -slope - SIGMA_PER_90_PCT * error,
        -slope + SIGMA_PER_90_PCT * error,
    )
    return Movement(chance, rate, fall, _scatter(t, g, slope, w))


Column = NDArray[np.float64]


def _columns(readings: Sequence[GravityReading], sigma: float) -> tuple[Column, Column, Column]:
    """Days, gravities and weights."""
    rows = [(r.day, r.gravity, r.sigma(sigma)) for r in readings]
    days, gravities, sigmas = np.array(rows, dtype=float).T
    return days, gravities, sigmas**-2


def _centred(values: Column, w: Column) -> Column:
    return np.asarray(values - float(w @ values / w.sum()))


def _weighed(spread: float, slope: float) -> tuple[float, float]:
    """Chance of falling against standing still, and the mean rate where it falls."""
    rates = _rates()
    # Logarithm of the likelihood against that of standing still.
    gain = (-2 * rates * slope - rates**2 * spread) / 2
    top = max(float(gain.max()), 0.0)
    weights = np.exp(gain - top)
    moving, still = float(weights.mean()), math.exp(-top)
    return moving / (moving + still), float((weights * rates).sum() / weights.sum())


@cache
def _rates() -> Column:
    record = finishing_data()["stability"]
    return np.geomspace(float(record["slow_per_day"]), float(record["fast_per_day"]), 400)


def _scatter(t: np.ndarray, g: np.ndarray, slope: float, w: np.ndarray) -> float:
    """Chance that the instrument alone scatters the readings about their line so widely.

    A rising line counts as scatter, since a ferment does not raise gravity.
    """
    fitted = min(slope, 0.0)
    degrees = len(t) - (2 if slope < 0 else 1)
    if degrees <= 0:
        return 1.0
    return float(chdtrc(degrees, float(w @ (g - fitted * t) ** 2)))


def next_check(readings: Sequence[GravityReading], sigma: float, verdict: str) -> Figure:
    """When one more reading, if unchanged, would settle whether gravity stands still.

    Parameters
    ----------
    readings : sequence of GravityReading
        Two or more, of different days.
    sigma : float
        Standard error of a reading without its own, above 0 [-].
    verdict : str
        As `Stability.verdict`.

    Returns
    -------
    Figure
        Days after the last reading, 2 to 28 [d].

    Notes
    -----
    The chance of `movement` with the reading to come; its rates are assumed, and so are the days
    where the verdict is already clear.
    """
    record = finishing_data()["stability"]
    last, settled = readings[-1], float(record["settled_chance"])
    formula = say("first day on which an unchanged reading brings the chance below 10 %, 2 to 28")
    source = str(record["rate_source"])
    if verdict == "moving":
        return Figure(3.0, "d", say("it moves: look again soon"), ASSUMED)
    if verdict in ("dry and settled", "settled and sterile"):
        return Figure(28.0, "d", say("a last look before bottling, or in the bottle"), ASSUMED)
    if verdict == "settled, not safe":
        return Figure(7.0, "d", say("it stands still: a week in the warm tells more"), ASSUMED)
    least = float(record["least_days"]) - (last.day - readings[0].day)
    days, gravities, w = _columns([*readings, last], sigma)
    g = _centred(gravities, w)
    for day in range(2, 29):
        days[-1] = last.day + day
        t = _centred(days, w)
        if day >= least and _weighed(float(w @ t**2), float(w @ (t * g)))[0] <= settled:
            return Figure(float(day), "d", formula, source)
    return Figure(28.0, "d", formula, source)
