"""What a litre of mead becomes when some of its sugar ferments, by the balance of masses."""

from __future__ import annotations

from scipy.optimize import brentq

from mustwright.constants import ETHANOL_YIELD_G_G
from mustwright.finishing.liquid import Liquid


def fermented(before: Liquid, sugar_g: float) -> Liquid:
    """With so many grams of its sugar fermented [g]."""
    gas = sugar_g * (1.0 - ETHANOL_YIELD_G_G)
    return Liquid(
        before.mass_g - gas,
        before.extract_g - sugar_g,
        before.ethanol_g + ETHANOL_YIELD_G_G * sugar_g,
    )


def sugar_gone(before: Liquid, gravity: float) -> float:
    """Grams per litre fermented by the time of this reading."""
    most = before.extract_g
    if most <= 0 or fermented(before, most).gravity > gravity:
        return most
    return float(brentq(lambda s: fermented(before, s).gravity - gravity, 0.0, most, xtol=1e-9))
