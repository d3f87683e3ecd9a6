"""What does a closed bottle reach in the warm: its gas, shared with the headspace, and its air."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from scipy.optimize import brentq

from mustwright.constants import BAR_PER_ATM, CO2_G_MOL, GAS_CONSTANT_J_MOL_K, KELVIN_AT_0_C
from mustwright.figure import Figure
from mustwright.finishing.gas import pressure_bar_from_co2
from mustwright.finishing.step import finishing_data
from mustwright.texts import say

R_L_BAR = GAS_CONSTANT_J_MOL_K / 100  # L bar/(mol K)
MOST_G_L = 16.0
UNKNOWN_ALCOHOL_PCT = 15.0
SOLUBILITY = "Weiss1974; OIVAS314 for alcohol and sugar"
AIR = "ideal gas; Sander2015, from memory, for what dissolves"


@dataclass(frozen=True)
class Bottle:
    """How a bottle was closed.

    Parameters
    ----------
    headspace_share : float
        Room above the drink over the drink, 0 to 0.2 [-].
    fill_c : float
        Temperature of the air shut in, -2 to 40 [°C].
    air_dissolves : bool
        Whether part of the air goes into the drink; not counted in the worst case.
    """

    headspace_share: float
    fill_c: float
    air_dissolves: bool


def usual_bottle() -> Bottle:
    """A bottle as it is usually filled."""
    record = _record()
    return Bottle(float(record["share_pct"]["typical"]) / 100, float(record["fill_c"]), True)


def worst_bottle() -> Bottle:
    """The fullest bottle, closed cold, none of its air dissolved: what a bottle is judged by."""
    record = _record()
    return Bottle(float(record["share_pct"]["low"]) / 100, float(record["cold_fill_c"]), False)


def _record() -> Mapping[str, Any]:
    return finishing_data()["headspace"]  # type: ignore[no-any-return]


def air_bar(temperature_c: float, bottle: Bottle) -> float:
    """Pressure of the air shut in [bar], absolute.

    Parameters
    ----------
    temperature_c : float
        -2 to 40 [°C].

    Notes
    -----
    Each gas of the air fills the headspace under its share of 1.01325 bar when the bottle is
    closed, and then shares itself between headspace and drink: ``p = x P0 (h / R T0) / (h / R T +
    k(T))``, k by Henry's law (Sander2015, from memory; taken for water). Where none dissolves it is
    ``P0 T / T0``.

    Examples
    --------
    >>> [round(air_bar(30, Bottle(0.03, 20, dissolves)), 2) for dissolves in (False, True)]
    [1.05, 0.67]
    """
    kelvin, closed = temperature_c + KELVIN_AT_0_C, bottle.fill_c + KELVIN_AT_0_C
    if not bottle.air_dissolves:
        return BAR_PER_ATM * kelvin / closed
    room = bottle.headspace_share / R_L_BAR
    return sum(
        float(gas["share"])
        * BAR_PER_ATM
        * (room / closed)
        / (room / kelvin + _henry_mol_l_bar(gas, kelvin))
        for gas in _record()["gas"]
    )


def _henry_mol_l_bar(gas: Mapping[str, Any], kelvin: float) -> float:
    at_25 = float(gas["mol_m3_pa"]) * 100  # mol/(m3 Pa) to mol/(L bar)
    return at_25 * math.exp(float(gas["kelvin"]) * (1 / kelvin - 1 / 298.15))


def gauge_bar(
    co2_g_l: float, temperature_c: float, alcohol_pct: float, sugar_g_l: float, bottle: Bottle
) -> float:
    """What a gauge on the closed bottle shows [bar]: carbon dioxide and air, less the air outside.

    Parameters
    ----------
    co2_g_l : float
        All there is, per litre of the drink, 0 to 20 [g/L].
    temperature_c : float
        -2 to 40 [°C].
    alcohol_pct : float
        Of the drink, 0 to 25 [% vol].
    sugar_g_l : float
        Of the drink, 0 to 300 [g/L].
    bottle : Bottle

    Returns
    -------
    float
        Over the air outside, 1.01325 bar [bar].

    Raises
    ------
    DomainError
        By the solubility, outside its range of temperature, alcohol or sugar.

    Notes
    -----
    The carbon dioxide shares itself between drink and headspace (`SOLUBILITY`; in the headspace as
    an ideal gas).

    Examples
    --------
    >>> bottle = Bottle(0.03, 20, True)
    >>> round(gauge_bar(2.5 * 1.9768, 30, 12, 0, bottle), 2)
    3.97
    """
    air = air_bar(temperature_c, bottle)
    return co2_bar(co2_g_l, temperature_c, alcohol_pct, sugar_g_l, bottle) + air - BAR_PER_ATM


def co2_bar(
    co2_g_l: float, temperature_c: float, alcohol_pct: float, sugar_g_l: float, bottle: Bottle
) -> float:
    """Absolute pressure of the carbon dioxide once it is shared with the headspace.

    Parameters
    ----------
    co2_g_l : float
        All there is, per litre of the drink, 0 to 20 [g/L].
    temperature_c : float
        -2 to 40 [°C].
    alcohol_pct : float
        Of the drink, 0 to 25 [% vol].
    sugar_g_l : float
        Of the drink, 0 to 300 [g/L].
    bottle : Bottle

    Returns
    -------
    float
        Absolute [bar].

    Raises
    ------
    DomainError
        By the solubility, outside its range of temperature, alcohol or sugar.
    """
    top = pressure_bar_from_co2(co2_g_l, temperature_c, alcohol_pct, sugar_g_l)
    if bottle.headspace_share <= 0 or top <= 0:
        return top
    per_bar = bottle.headspace_share * CO2_G_MOL / (R_L_BAR * (temperature_c + KELVIN_AT_0_C))

    def left_over(pressure: float) -> float:
        held = max(co2_g_l - per_bar * pressure, 0.0)
        return pressure_bar_from_co2(held, temperature_c, alcohol_pct, sugar_g_l) - pressure

    return float(brentq(left_over, 0.0, top, xtol=1e-10))


def warm_bottle(target: Figure, alcohol_pct: float | None, sugar_g_l: float) -> Figure:
    """Gauge pressure of the closed bottle in a warm room; its high end is what a bottle must hold.

    Parameters
    ----------
    target : Figure
        Carbon dioxide of the finished drink [g/L].
    alcohol_pct : float or None
        Of the drink, 0 to 25 [% vol]; None is counted as water, and as strong for the high end.
    sugar_g_l : float
        Of the drink, 0 to 300 [g/L].

    Returns
    -------
    Figure
        Over the air outside [bar].
    """
    spread = float(finishing_data()["priming"]["solubility_spread"])
    hot = float(finishing_data()["priming"]["hot_c"])
    weak = 0.0 if alcohol_pct is None else alcohol_pct
    strong = UNKNOWN_ALCOHOL_PCT if alcohol_pct is None else alcohol_pct
    usual, low = usual_bottle(), target.value * (1 - spread)
    return Figure(
        gauge_bar(target.value, hot, weak, sugar_g_l, usual),
        "bar",
        say(
            "gas shared with the headspace at {hot:g} C, with the air shut in, less 1.01325; high "
            "end: fullest bottle, closed cold, no air dissolved",
            hot=hot,
        ),
        f"{SOLUBILITY}; {AIR}",
        {
            "co2_g_l": target,
            "alcohol_pct": (
                weak if alcohol_pct is not None else say("not typed: as water; high 15 %")
            ),
            "sugar_g_l": sugar_g_l,
            "air_bar": air_bar(hot, usual),
            "headspace_share": usual.headspace_share,
        },
        min(gauge_bar(low, hot, weak, sugar_g_l, one) for one in _ends(usual)),
        gauge_bar(min(target.value * (1 + spread), 20.0), hot, strong, sugar_g_l, worst_bottle()),
    )


def _ends(usual: Bottle) -> tuple[Bottle, ...]:
    shares = (float(_record()["share_pct"][end]) / 100 for end in ("low", "high"))
    return (usual, *(Bottle(share, usual.fill_c, True) for share in shares))


def most_co2_g_l(limit_bar: float, alcohol_pct: float | None, sugar_g_l: float) -> float:
    """The most gas a bottle may hold so that `warm_bottle` stays within its limit [g/L].

    Parameters
    ----------
    limit_bar : float
        Working pressure, gauge, 0 to 15 [bar].
    alcohol_pct : float or None
        Of the drink, 0 to 25 [% vol]; None is counted as strong.
    sugar_g_l : float
        Of the drink, 0 to 300 [g/L].

    Returns
    -------
    float
        Never above 16, where nothing bottled comes [g/L].
    """
    spread = float(finishing_data()["priming"]["solubility_spread"])
    hot = float(finishing_data()["priming"]["hot_c"])
    strong = UNKNOWN_ALCOHOL_PCT if alcohol_pct is None else alcohol_pct

    def over(co2_g_l: float) -> float:
        held = co2_g_l * (1 + spread)
        return gauge_bar(held, hot, strong, sugar_g_l, worst_bottle()) - limit_bar

    if over(0.0) >= 0:
        return 0.0
    return MOST_G_L if over(MOST_G_L) <= 0 else float(brentq(over, 0.0, MOST_G_L, xtol=1e-9))
