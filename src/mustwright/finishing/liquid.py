"""What is in the vessel: a volume with its alcohol and extract, and what mixing makes of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from scipy.optimize import brentq

from mustwright.constants import ETHANOL_G_L_PER_PCT_VOL
from mustwright.errors import ImpossibleError
from mustwright.finishing.step import within
from mustwright.must.alcohol import (
    ethanol_g_l_from_pct_vol,
    volume_l_from_contents,
)
from mustwright.must.density import must_density_kg_m3
from mustwright.must.gravity import gravity_from_composition
from mustwright.must.gravity_text import gravity_span
from mustwright.must.ingredient import Ingredient
from mustwright.texts import say

BALANCE = "mass balance; OIML1975, OIV2012, ICUMSA1998"
HIGHEST_EXTRACT_G_L = 600.0
HIGHEST_ALCOHOL_PCT = 25.0
MOST_LITRES = 1e6


@dataclass(frozen=True)
class Liquid:
    """A liquid by what it is made of: masses add up when liquids are mixed, volumes do not.

    Parameters
    ----------
    mass_g, extract_g, ethanol_g : float
        All of it, what is dissolved besides ethanol, and the ethanol [g].
    """

    mass_g: float
    extract_g: float
    ethanol_g: float

    @property
    def volume_l(self) -> float:
        """Volume at 20 °C [L], contraction included (OIML1975, OIV2012)."""
        if self.mass_g <= 0:
            return 0.0
        return float(volume_l_from_contents(self.mass_g, self.extract_g, self.ethanol_g))

    @property
    def alcohol_pct(self) -> float:
        """Alcoholic strength at 20 °C [% vol]."""
        return self.ethanol_g / self.volume_l / ETHANOL_G_L_PER_PCT_VOL

    @property
    def extract_g_l(self) -> float:
        """Dissolved matter besides ethanol [g/L]."""
        return self.extract_g / self.volume_l

    @property
    def gravity(self) -> float:
        """Apparent gravity 20/20 [-]."""
        volume = self.volume_l
        return float(gravity_from_composition(self.extract_g / volume, self.ethanol_g / volume))

    def __add__(self, other: Liquid) -> Liquid:
        return Liquid(
            self.mass_g + other.mass_g,
            self.extract_g + other.extract_g,
            self.ethanol_g + other.ethanol_g,
        )

    def times(self, factor: float) -> Liquid:
        """The same liquid, scaled by a factor."""
        return Liquid(self.mass_g * factor, self.extract_g * factor, self.ethanol_g * factor)


def mixed(liquids: Iterable[Liquid]) -> Liquid:
    """All of them in one vessel."""
    total = Liquid(0.0, 0.0, 0.0)
    for liquid in liquids:
        total = total + liquid
    return total


def extract_g_l_from_gravity(gravity: float, alcohol_pct: float) -> float:
    """Dissolved matter of a mead of known gravity and alcohol [g/L].

    Parameters
    ----------
    gravity : float
        Apparent, 20/20 °C [-].
    alcohol_pct : float
        0 to 25 [% vol].

    Raises
    ------
    ImpossibleError
        When even water with that alcohol would be heavier.

    Examples
    --------
    >>> round(extract_g_l_from_gravity(0.998, 13.0), 1)
    38.9
    """
    within(alcohol_pct, 0, HIGHEST_ALCOHOL_PCT, "alcohol", say("an alcohol in % vol"))
    ethanol = float(ethanol_g_l_from_pct_vol(alcohol_pct))
    low = float(gravity_from_composition(0.0, ethanol))
    high = float(gravity_from_composition(HIGHEST_EXTRACT_G_L, ethanol))
    if not low <= gravity <= high:
        between = say(
            "needs {span} with {alcohol:g} % vol of alcohol in it",
            span=gravity_span(low, high, digits=4),
            alcohol=alcohol_pct,
        )
        raise ImpossibleError("gravity", between, gravity)
    return float(
        brentq(
            lambda e: float(gravity_from_composition(e, ethanol)) - gravity,
            0.0,
            HIGHEST_EXTRACT_G_L,
            xtol=1e-10,
        )
    )


def mead(volume_l: float, gravity: float, alcohol_pct: float) -> Liquid:
    """A mead of known volume, gravity and alcohol.

    Parameters
    ----------
    volume_l : float
        Above 0, to 1e6 [L].
    gravity : float
        Apparent, 20/20 °C [-].
    alcohol_pct : float
        0 to 25 [% vol].

    Returns
    -------
    Liquid

    Raises
    ------
    InputError
        If volume or alcohol is out of its range.
    ImpossibleError
        If no mead with this alcohol can have this gravity.

    Notes
    -----
    Mass from `must_density_kg_m3` (ICUMSA1998, OIML1975, OIV2012).
    """
    within(volume_l, 1e-6, MOST_LITRES, "volume", say("a volume in L"))
    extract = extract_g_l_from_gravity(gravity, alcohol_pct)
    ethanol = float(ethanol_g_l_from_pct_vol(alcohol_pct))
    mass = float(must_density_kg_m3(extract, ethanol))
    return Liquid(volume_l * mass, volume_l * extract, volume_l * ethanol)


def of_ingredient(ingredient: Ingredient, kg: float) -> Liquid:
    """The liquid an ingredient brings, by its kilograms: water and what dissolves."""
    dissolved = 1000 * kg * ingredient.dissolved
    return Liquid(1000 * kg * ingredient.water + dissolved, dissolved, 0.0)
