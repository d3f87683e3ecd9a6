"""How far has a must of this gravity fermented at a reading: one table per must, by the balance."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from mustwright.errors import validity_notes
from mustwright.must.alcohol import ferment
from mustwright.must.gravity import brix_from_gravity, sugar_g_l_from_brix
from mustwright.must.refraction import (
    brix_from_refractive_index,
    refractive_index_from_composition,
)

Floats = NDArray[np.float64]
STEPS = 11
USUAL_SHARE = 0.95  # fermentable share of a honey must's extract where it is not known (assumed)
BEYOND = 0.012  # gravity below dryness that is still read as dry, not refused [SG]


@dataclass(frozen=True)
class MustCourse:
    """Gravity, alcohol and refractometer reading of one must while its sugar goes.

    Parameters
    ----------
    used : ndarray
        Fraction of the fermentable sugar gone, 0 to 1.
    gravity, ethanol_pct_vol, extract_g_l, ethanol_g_l : ndarray
        At those fractions.
    sugar_g_l : float
        Fermentable sugar at pitch [g/L].
    """

    used: Floats
    gravity: Floats
    ethanol_pct_vol: Floats
    extract_g_l: Floats
    ethanol_g_l: Floats
    sugar_g_l: float

    @cached_property
    def refractometer_brix(self) -> Floats:
        """What a refractometer shows at those fractions [Brix]; worked out when first asked for."""
        n = refractive_index_from_composition(self.extract_g_l, self.ethanol_g_l)
        return np.asarray(brix_from_refractive_index(n), dtype=float)

    def used_at_gravity(self, gravity: float | Floats) -> Floats:
        """Fraction of the sugar gone at an apparent gravity; 0 above the start, 1 below dry."""
        return np.asarray(np.interp(-np.asarray(gravity), -self.gravity, self.used))

    def gravity_at(self, used: float | Floats) -> Floats:
        """Apparent gravity when a fraction of the sugar is gone."""
        return np.asarray(np.interp(used, self.used, self.gravity))

    def alcohol_at(self, used: float | Floats) -> Floats:
        """Alcohol when a fraction of the sugar is gone [% vol]."""
        return np.asarray(np.interp(used, self.used, self.ethanol_pct_vol))

    def gravity_of_refractometer(self, brix: float | Floats) -> Floats:
        """Apparent gravity from a refractometer reading at 20 °C, carried on beyond both ends."""
        x, y = -self.refractometer_brix, self.gravity
        b = -np.asarray(brix, dtype=float)
        inside = np.interp(b, x, y)
        start = y[0] + (b - x[0]) * (y[1] - y[0]) / (x[1] - x[0])
        end = y[-1] + (b - x[-1]) * (y[-1] - y[-2]) / (x[-1] - x[-2])
        return np.asarray(np.where(b < x[0], start, np.where(b > x[-1], end, inside)))

    @cached_property
    def _fallen(self) -> Floats:
        brix = np.asarray(brix_from_gravity(self.gravity), dtype=float)
        return np.asarray(np.maximum.accumulate(brix[0] - brix))

    def brix_fallen_at(self, used: float) -> float:
        """Fall of apparent Brix when a fraction of the sugar is gone."""
        return float(np.interp(used, self.used, self._fallen))

    def used_at_brix_fallen(self, fall: float | Floats) -> Floats:
        """Fraction of the sugar gone when apparent Brix has fallen this far."""
        return np.asarray(np.interp(fall, self._fallen, self.used))


def share_of(fermentable_g_l: float, extract_g_l: float) -> float:
    """Fermentable share of an extract, held between 0.5 and 1 [g/g]."""
    return min(max(fermentable_g_l / max(extract_g_l, 1e-9), 0.5), 1.0)


@lru_cache(maxsize=4096)
def course_of(brix: float, fermentable_share: float = USUAL_SHARE) -> MustCourse:
    """The course of a must.

    Parameters
    ----------
    brix : float
        At pitch, 0.5 to 60; callers round it, so that equal musts share one table.
    fermentable_share : float
        Of the extract, 0.5 to 1 [g/g].

    Notes
    -----
    The mass balance of `must.alcohol.ferment` at 11 even steps; straight lines between them are
    within 0.0001 in gravity of the balance itself (tested).
    """
    extract = float(sugar_g_l_from_brix(max(brix, 0.5)))
    sugar = extract * fermentable_share
    used = np.linspace(0.0, 1.0, STEPS)
    with validity_notes():  # a very strong must's end lies beyond the tables; no yeast gets there
        states = [ferment(extract, sugar, u * sugar) for u in used]
    return MustCourse(
        used,
        np.array([s.gravity for s in states]),
        np.array([s.ethanol_pct_vol for s in states]),
        np.array([s.extract_g_l for s in states]),
        np.array([s.ethanol_g_l for s in states]),
        sugar,
    )
