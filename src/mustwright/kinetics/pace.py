"""When will a feed fall due: the usual pace of a ferment, as a wide band until it is measured.

This is the pace of an average well-fed ferment, not a forecast of this one: feeds are triggered by
what the must does; the hours here only tell the maker when to be at home.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from mustwright.constants import GAS_CONSTANT_J_MOL_K, KELVIN_AT_0_C
from mustwright.figure import Figure
from mustwright.must.course import USUAL_SHARE, Floats, MustCourse, course_of
from mustwright.texts import say

SITES_TEMPERATURE_C = 27.0  # Reiter2021 tanks, from memory.
ACTIVATION_J_MOL = 35_000.0  # growth and product formation, Phisalaphong2006.
BAND = 1.6  # factor either way, about 90 %: assumed, from the spread of Reiter2021 sites.


@dataclass(frozen=True)
class Pace:
    """Lag and rate of a ferment.

    Parameters
    ----------
    lag_h : float
        Hours from pitch to the first steady fall of gravity [h].
    brix_per_h : float
        Fall of apparent Brix in the first half [Brix/h].
    brix : float
        Brix at pitch.
    temperature_c : float
    yan_mg_l : float
    fermentable_share : float
        Of the extract [g/g].
    """

    lag_h: float
    brix_per_h: float
    brix: float
    temperature_c: float
    yan_mg_l: float
    fermentable_share: float = USUAL_SHARE

    @property
    def course(self) -> MustCourse:
        """How far apparent Brix falls with the sugar: a mass balance, not a rule."""
        return course_of(round(max(self.brix, 1.0), 1), round(self.fermentable_share, 2))

    @property
    def _scale(self) -> float:
        """Of the rounded course to this must."""
        return self.brix / round(max(self.brix, 1.0), 1)

    def hours_to_sugar_used(self, fraction: float) -> Figure:
        """Hours from pitch until a fraction (0 to 1) of the sugar is used."""
        drop = self._scale * self.course.brix_fallen_at(fraction)
        straight = min(drop, 0.7 * self.brix)
        hours = self.lag_h + straight / self.brix_per_h
        if drop > straight:  # the last third slows down: about half the rate
            hours += 2 * (drop - straight) / self.brix_per_h
        return self._figure(
            hours, say("lag + fall to {fraction:.0%} of the sugar / pace", fraction=fraction)
        )

    def hours_to_brix_drop(self, drop: float) -> Figure:
        """Hours from pitch until apparent Brix has fallen by `drop`."""
        return self._figure(self.lag_h + drop / self.brix_per_h, say("lag + fall in Brix / pace"))

    def hours_to_onset(self) -> Figure:
        """Hours from pitch to the first signs of fermentation."""
        return self._figure(self.lag_h, say("lag"))

    def sugar_used_at(self, hours: float) -> float:
        """Fraction of the sugar used after so many hours, at this pace (0 to 1)."""
        return float(self.sugar_used_along(np.asarray(hours)))

    def sugar_used_along(self, hours: Floats) -> Floats:
        """`sugar_used_at` of many hours at once."""
        fall = np.maximum(hours - self.lag_h, 0.0) * self.brix_per_h
        straight = 0.7 * self.brix
        fall = np.where(fall > straight, straight + (fall - straight) / 2, fall)
        if self.brix <= 0:
            return np.ones_like(fall)
        with np.errstate(over="ignore"):  # next to no sugar: gone at once
            return self.course.used_at_brix_fallen(fall / self._scale)

    def used_at_brix_fallen(self, fall: float) -> float:
        """Fraction of the sugar used when apparent Brix has fallen so far (0 to 1)."""
        return float(self.course.used_at_brix_fallen(fall / self._scale)) if self.brix > 0 else 1.0

    def _figure(self, hours: float, formula: str) -> Figure:
        return Figure(
            hours,
            "h",
            formula,
            "Reiter2021; Phisalaphong2006; lag from memory",
            {
                "lag_h": self.lag_h,
                "pace_brix_per_h": self.brix_per_h,
                "brix": self.brix,
                "temperature_c": self.temperature_c,
                "nitrogen_mg_l": self.yan_mg_l,
                "fermentable_share": self.fermentable_share,
            },
            hours / BAND,
            hours * BAND,
        )


def usual_pace(
    brix: float, temperature_c: float, yan_mg_l: float, fermentable_share: float = USUAL_SHARE
) -> Pace:
    """The pace of an average ferment.

    Parameters
    ----------
    brix : float
        At pitch, 0 to 45 [Brix].
    temperature_c : float
        Of the must, 5 to 38 [°C].
    yan_mg_l : float
        Nitrogen the must will hold in its first third, 0 to 600 [mg N/L].
    fermentable_share : float
        Of the extract, held between 0.5 and 1 [g/g].

    Returns
    -------
    Pace

    Notes
    -----
    ``(0.242 + 0.00036 YAN) Brix/h`` fitted to 15 sites over 16 to 64 h (Reiter2021, about 27 °C),
    moved to this temperature by an activation energy of 35 kJ/mol (Phisalaphong2006). Sugar above
    150 g/L slows growth (Thatipamala1992): the pace is divided by ``1 + (Brix - 25)/40`` above 25
    Brix (assumed). Lag 15 h at 20 °C, halved for each 10 °C (from memory).
    """
    temperature = min(max(temperature_c, 5.0), 38.0)
    warm = math.exp(
        -ACTIVATION_J_MOL
        / GAS_CONSTANT_J_MOL_K
        * (1 / (temperature + KELVIN_AT_0_C) - 1 / (SITES_TEMPERATURE_C + KELVIN_AT_0_C))
    )
    rate = (0.242 + 0.00036 * min(max(yan_mg_l, 0.0), 600.0)) * warm
    rate /= 1 + max(brix - 25.0, 0.0) / 40.0
    lag = 15.0 * 2 ** ((20.0 - temperature) / 10.0)
    share = min(max(fermentable_share, 0.5), 1.0)
    return Pace(lag, rate, max(brix, 0.0), temperature_c, yan_mg_l, share)
