"""Where a maker's own next fermentation is drawn from: the population, shifted and narrowed.

The effects of a fermentation are standard normal numbers under the population. A house moves them
to another mean and covariance; the same random numbers go in, so that forecasts with and without a
house can be compared run by run.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from mustwright.errors import InputError
from mustwright.texts import say

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class HousePrior:
    """A Gaussian on the effects.

    Parameters
    ----------
    mean : tuple of float
        By `parameters.EFFECTS`, in standard deviations of the population [-].
    covariance : tuple of tuple of float
        The same, squared [-]; 1 on the diagonal and 0 elsewhere is the population.
    key : str
        Tells houses apart, for caches.
    """

    mean: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    key: str

    def __post_init__(self) -> None:
        size = len(self.mean)
        if np.shape(self.covariance) != (size, size):
            raise InputError(
                "house", say("{size} rows and columns", size=size), np.shape(self.covariance)
            )

    def __hash__(self) -> int:
        return hash(self.key)

    @cached_property
    def root(self) -> Floats:
        """Symmetric square root of the covariance: of all roots the one closest to "no change"."""
        values, vectors = np.linalg.eigh(np.array(self.covariance))
        return np.asarray((vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T)

    def applied(self, z: Floats) -> Floats:
        """Effects of the house from standard normal numbers, effects by members."""
        return np.asarray(np.array(self.mean)[:, None] + self.root @ z)
