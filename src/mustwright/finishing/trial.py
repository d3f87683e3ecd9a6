"""The bench trial: glasses with rising doses, as a pipette measures them, scaled to the batch."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from mustwright.errors import ImpossibleError
from mustwright.figure import ARITHMETIC, Figure, typed
from mustwright.finishing.liquid import MOST_LITRES
from mustwright.finishing.step import within
from mustwright.texts import say

MOST_GLASSES = 12


@dataclass(frozen=True)
class Glass:
    """One glass of the trial and what it means for the batch."""

    stock_ml: Figure
    dose_g_l: Figure
    batch_g: Figure
    dilution_pct: Figure


@dataclass(frozen=True)
class BenchTrial:
    """A row of glasses.

    Parameters
    ----------
    stock : str
        How the stock solution is made.
    stock_g_l : Figure
        What a litre of it holds [g/L].
    glass_ml : float
        Mead in each glass [mL].
    glasses : tuple of Glass
        From none upwards.
    """

    substance: str
    stock: str
    stock_g_l: Figure
    glass_ml: float
    pipette_ml: float
    made_with: str
    glasses: tuple[Glass, ...]


def bench_trial(
    substance: str,
    volume_l: float,
    doses_g_l: Sequence[float],
    *,
    stock_g_l: float | None = None,
    glass_ml: float = 100.0,
    pipette_ml: float = 0.1,
    scale_g: float = 0.1,
    own_volume_l_kg: float | None = None,
    most_g_l: float = math.inf,
) -> BenchTrial:
    """Lay out glasses for some doses of one substance.

    Parameters
    ----------
    substance : str
        In plain words.
    volume_l : float
        The batch, 0.001 to 1e6 [L].
    doses_g_l : sequence of float
        Wanted grams per litre of mead, 1 to 12 of them, 0 to 5000 [g/L].
    stock_g_l : float or None
        Strength of the stock solution, 0.1 to 1500 [g/L]; None picks one of which the largest
        dose needs at most a twentieth of the glass.
    glass_ml : float
        Mead per glass, 10 to 5000 [mL].
    pipette_ml : float
        Step of the pipette, 0.001 to 10 [mL].
    scale_g : float
        Step of the scale, 0.0001 to 1000 [g].
    own_volume_l_kg : float or None
        Room the substance takes up in the mead [L/kg]. When given, the stock is made with the mead
        itself and stock and mead together fill the glass, so that nothing is diluted.
    most_g_l : float
        Rounding goes down if it would pass this dose [g/L].

    Returns
    -------
    BenchTrial

    Raises
    ------
    InputError, ImpossibleError
        If a value is out of its range, or a dose is less than the pipette can measure.

    Notes
    -----
    ``mL = dose x glass / stock`` (for a stock of mead over ``1 + dose x room``), rounded to the
    pipette; the dose is then worked back from the rounded mL, and the batch gets ``dose x volume``,
    rounded to the scale. Water in the stock dilutes the glass by ``mL / (glass + mL)``; the batch,
    dosed with powder, is not diluted.

    Examples
    --------
    >>> trial = bench_trial("tartaric acid", 19, [0.5, 1.0], stock_g_l=100)
    >>> [(g.stock_ml.value, g.batch_g.value) for g in trial.glasses]
    [(0.0, 0.0), (0.5, 9.5), (1.0, 19.0)]
    """
    within(volume_l, 1e-3, MOST_LITRES, "volume", say("a volume in L"))
    within(glass_ml, 10, 5000, "glass", say("a glass in mL"))
    within(pipette_ml, 0.001, 10, "pipette", say("a pipette step in mL"))
    within(scale_g, 1e-4, 1000, "scale", say("a scale resolution in g"))
    if not 1 <= len(doses_g_l) <= MOST_GLASSES:
        raise ImpossibleError(
            "trial",
            say("needs 1 to {most} doses", most=MOST_GLASSES),
            len(doses_g_l),
        )
    for dose in doses_g_l:
        within(dose, 0, 5000, "trial", say("doses in g/L"))
    stock = _stock(doses_g_l, stock_g_l)
    room = own_volume_l_kg
    made_with = say("water") if room is None else say("the mead")
    parts: dict[str, Any] = {"grams": 100 * stock.value / 1000, "substance": substance}
    made = (
        say("{grams:.4g} g of {substance} made up to 100 mL with water", **parts)
        if room is None
        else say("{grams:.4g} g of {substance} made up to 100 mL with the mead", **parts)
    )
    if room is not None and stock.value * room / 1000 > 0.99:
        made = say("{substance} as it is", substance=substance)
    steps = _Steps(glass_ml, pipette_ml, volume_l, scale_g, room, most_g_l)
    doses = (0.0, *(d for d in doses_g_l if d > 0))
    glasses = tuple(_glass(dose, stock, steps) for dose in doses)
    return BenchTrial(substance, made, stock, glass_ml, pipette_ml, made_with, glasses)


@dataclass(frozen=True)
class _Steps:
    """How finely things are measured, and how much there is."""

    glass_ml: float
    pipette_ml: float
    volume_l: float
    scale_g: float
    room_l_kg: float | None
    most_g_l: float

    def dose_g_l(self, ml: float, stock_g_l: float) -> float:
        """Grams per litre of mead in a glass with so many mL of stock."""
        room = (self.room_l_kg or 0.0) / 1000
        return ml * stock_g_l / (self.glass_ml - ml * stock_g_l * room)

    def stock_ml(self, dose_g_l: float, stock_g_l: float) -> float:
        """Millilitres of stock for a dose, to the nearest pipette step, not over the most."""
        room, pipette = (self.room_l_kg or 0.0) / 1000, self.pipette_ml
        exact = dose_g_l * self.glass_ml / (stock_g_l * (1 + dose_g_l * room))
        count = round(exact / pipette)
        if self.dose_g_l(count * pipette, stock_g_l) > self.most_g_l * (1 + 1e-9):
            count = math.floor(exact / pipette + 1e-9)
        return round(count * pipette, 6)

    def batch_g(self, dose_g_l: float) -> float:
        """Grams for the batch, to the nearest step of the scale, not over the most."""
        exact = dose_g_l * self.volume_l / self.scale_g
        count = math.floor(exact + 0.5)
        if count * self.scale_g > self.most_g_l * self.volume_l * (1 + 1e-9):
            count = math.floor(exact + 1e-9)
        return round(count * self.scale_g, 6)


def _stock(doses: Sequence[float], stock_g_l: float | None) -> Figure:
    if stock_g_l is not None:
        within(stock_g_l, 0.1, 1500, "stock", say("a stock strength in g/L"))
        return typed(stock_g_l, "g/L")
    wanted = 20 * max(max(doses), 1e-6)
    steps = [m * 10.0**k for k in range(-1, 3) for m in (1, 2, 5)]
    value = next((s for s in steps if s >= wanted), 500.0)
    return Figure(value, "g/L", say("so that the largest dose is at most a twentieth"), ARITHMETIC)


def _glass(dose: float, stock: Figure, steps: _Steps) -> Glass:
    room, glass = (steps.room_l_kg or 0.0) / 1000, steps.glass_ml
    ml = steps.stock_ml(dose, stock.value)
    if dose > 0 and ml == 0:
        raise ImpossibleError(
            "trial",
            say(
                "needs a weaker stock or larger glass: {dose:g} g/L is less than the pipette shows",
                dose=dose,
            ),
            say("{stock:g} g/L", stock=stock.value),
        )
    stock_ml = Figure(
        ml,
        "mL",
        say(
            "dose x glass / (stock x (1 + dose x room)), in steps of {step:g} mL",
            step=steps.pipette_ml,
        ),
        ARITHMETIC,
        {"dose_g_l": dose, "glass_ml": glass, "stock_g_l": stock, "room_l_g": room},
    )
    real = Figure(
        steps.dose_g_l(ml, stock.value),
        "g/L",
        say("mL x stock / (glass - mL x stock x room): grams per litre of mead"),
        ARITHMETIC,
        {"stock_ml": stock_ml, "stock_g_l": stock},
    )
    batch = Figure(
        steps.batch_g(real.value),
        "g",
        say("dose x volume, rounded to {step:g} g", step=steps.scale_g),
        ARITHMETIC,
        {"dose_g_l": real, "volume_l": steps.volume_l},
    )
    thinned = 0.0 if steps.room_l_kg is not None else 100 * ml / (glass + ml)
    thinner = Figure(thinned, "%", say("100 x mL of water / (glass + mL)"), ARITHMETIC)
    return Glass(stock_ml, real, batch, thinner)
