"""What one lot holds per litre, what is wanted of a blend, and what a mixture of lots becomes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mustwright.finishing.liquid import Liquid, mead, mixed
from mustwright.texts import say

Floats = NDArray[np.float64]
QUANTITIES = ("alcohol", "gravity", "acidity", "so2", "sugar", "colour")
UNITS = {
    "alcohol": "% vol", "gravity": "SG 20/20", "acidity": "g/L", "so2": "mg/L", "sugar": "g/L",
    "colour": "",
}  # fmt: skip
WORDS = {
    "alcohol": say("alcohol"), "gravity": say("gravity"), "acidity": say("acidity"),
    "so2": say("so2"), "sugar": say("sugar"), "colour": say("colour"),
}  # fmt: skip
# What counts as one step away from a target, and how close is close enough when not said.
SCALE = {"alcohol": 0.1, "gravity": 0.001, "acidity": 0.1, "so2": 5.0, "sugar": 2.0, "colour": 0.2}


@dataclass(frozen=True)
class Lot:
    """One lot that may go in.

    Parameters
    ----------
    name : str
    available_l, least_l : float
        How much there is, and how much must go in [L].
    alcohol_pct, gravity : float
        [% vol, SG 20/20].
    acidity_g_l, so2_mg_l, sugar_g_l, colour : float or None
        As tartaric, total, sugar, and the maker's own colour note from 0 to 10.
    price_per_l : float or None
        In the maker's money.
    """

    name: str
    available_l: float
    alcohol_pct: float
    gravity: float
    least_l: float = 0.0
    acidity_g_l: float | None = None
    so2_mg_l: float | None = None
    sugar_g_l: float | None = None
    colour: float | None = None
    price_per_l: float | None = None

    def per_litre(self, quantity: str) -> float | None:
        """One quantity of the lot."""
        named = {
            "alcohol": self.alcohol_pct, "gravity": self.gravity, "acidity": self.acidity_g_l,
            "so2": self.so2_mg_l, "sugar": self.sugar_g_l, "colour": self.colour,
        }  # fmt: skip
        return named[quantity]


@dataclass(frozen=True)
class BlendTarget:
    """A wanted value, or a range where `high` is above `low`."""

    quantity: str
    low: float
    high: float

    @property
    def middle(self) -> float:
        """The value aimed at."""
        return (self.low + self.high) / 2


def liquids(lots: Sequence[Lot], litres: Floats) -> list[Liquid]:
    return [
        mead(1.0, lot.gravity, lot.alcohol_pct).times(float(x))
        for lot, x in zip(lots, litres, strict=True)
    ]


def volume_of(lots: Sequence[Lot], litres: Floats) -> float:
    return mixed(liquids(lots, litres)).volume_l


def column(lots: Sequence[Lot], quantity: str) -> Floats:
    return np.array([lot.per_litre(quantity) or 0.0 for lot in lots])


def straight(lots: Sequence[Lot], litres: Floats, quantity: str) -> float:
    """A quantity of a mixture as if litres added up and it mixed in proportion.

    Parameters
    ----------
    lots : sequence of Lot
    litres : ndarray
        Of each lot, at least 0 [L].
    quantity : str
        One of `QUANTITIES`.

    Returns
    -------
    float
        In the unit of the quantity [any unit].
    """
    return float(column(lots, quantity) @ litres / max(float(litres.sum()), 1e-12))


def true_value(lots: Sequence[Lot], litres: Floats, quantity: str) -> float:
    """A quantity of a mixture by its mass balance.

    Parameters
    ----------
    lots : sequence of Lot
    litres : ndarray
        Of each lot, at least 0, not all 0 [L].
    quantity : str
        One of `QUANTITIES`.

    Returns
    -------
    float
        In the unit of the quantity [any unit].

    Raises
    ------
    InputError, ImpossibleError
        If a lot's gravity and alcohol cannot go together.
    """
    liquid = mixed(liquids(lots, litres))
    if quantity == "alcohol":
        return liquid.alcohol_pct
    if quantity == "gravity":
        return liquid.gravity
    if quantity == "colour":
        return straight(lots, litres, quantity)
    return float(column(lots, quantity) @ litres) / liquid.volume_l
