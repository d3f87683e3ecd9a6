"""How are uncertain figures drawn, and how is an ensemble summed up."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mustwright.constants import Z90
from mustwright.figure import Figure

Floats = NDArray[np.float64]


def spread(figure: Figure, z: Floats) -> Floats:
    """A figure drawn at standard normal deviates, two half normals through its 90 % range.

    Examples
    --------
    >>> spread(Figure(2.0, "", "", "", {}, 1.0, 5.0), np.array([-Z90, 0.0, Z90]))
    array([1., 2., 5.])
    """
    low = figure.value if figure.low is None else figure.low
    high = figure.value if figure.high is None else figure.high
    down, up = max(figure.value - low, 0.0) / Z90, max(high - figure.value, 0.0) / Z90
    return np.asarray(figure.value + np.where(z < 0, down, up) * z)


def uniform(rng: np.random.Generator, members: int, low: float, high: float) -> Floats:
    """Draw evenly between two ends.

    Parameters
    ----------
    rng : numpy.random.Generator
    members : int
    low, high : float
        The two ends, in the unit of what is drawn [any unit].

    Returns
    -------
    ndarray
        One draw per member [any unit].
    """
    return np.asarray(rng.uniform(low, high, members))


def quantile(values: ArrayLike, probability: float, weights: ArrayLike | None = None) -> float:
    """Quantile of a weighted sample, by its cumulative weights.

    Parameters
    ----------
    values : array_like
        The sample, at least one value [any unit].
    probability : float
        0 to 1 [-].
    weights : array_like or None
        At least 0, not all 0 [-]; equal unless given.

    Returns
    -------
    float
        One of the values [any unit].

    Examples
    --------
    >>> quantile([3.0, 1.0, 2.0], 0.5)
    2.0
    """
    sample = np.asarray(values, dtype=float)
    order = np.argsort(sample)
    mass = np.ones(sample.size) if weights is None else np.asarray(weights, dtype=float)
    steps = np.cumsum(mass[order])
    place = int(np.searchsorted(steps, probability * steps[-1]))
    return float(sample[order[min(place, sample.size - 1)]])


def chance(happens: ArrayLike, weights: ArrayLike | None = None) -> float:
    """Weighted share of members in which something happens (0 to 1)."""
    yes = np.asarray(happens, dtype=float)
    mass = np.ones(yes.size) if weights is None else np.asarray(weights, dtype=float)
    return float((yes * mass).sum() / mass.sum())
