"""How much carbon dioxide a mead holds: solubility by temperature, alcohol, sugar and pressure."""

from __future__ import annotations

import math

from mustwright.constants import BAR_PER_ATM, CO2_G_MOL, GAS_CONSTANT_J_MOL_K, KELVIN_AT_0_C
from mustwright.finishing.step import within
from mustwright.must.density import water_density_kg_m3
from mustwright.texts import say

COLDEST_C, HOTTEST_C = -2.0, 40.0
MOST_BAR = 15.0
ETHANOL_HIGHEST_PCT = 25.0


def k0_mol_kg_atm(temperature_c: float) -> float:
    """Solubility of carbon dioxide in pure water [mol/(kg atm)].

    Parameters
    ----------
    temperature_c : float
        -2 to 40 [°C].

    Notes
    -----
    ``ln K0 = -60.2409 + 93.4517 (100/T) + 23.3585 ln(T/100)``, Weiss1974 eq. 12, no salt.

    Examples
    --------
    >>> round(k0_mol_kg_atm(20), 5)
    0.03916
    """
    kelvin = temperature_c + KELVIN_AT_0_C
    return math.exp(-60.2409 + 93.4517 * 100 / kelvin + 23.3585 * math.log(kelvin / 100))


def virial_cm3_mol(temperature_c: float) -> float:
    """Second virial coefficient of carbon dioxide [cm3/mol], Weiss1974 eq. 6 (from memory).

    Examples
    --------
    >>> round(virial_cm3_mol(25))
    -123
    """
    kelvin = temperature_c + KELVIN_AT_0_C
    return -1636.75 + 12.0408 * kelvin - 3.27957e-2 * kelvin**2 + 3.16528e-5 * kelvin**3


def fugacity_bar(pressure_bar: float, temperature_c: float) -> float:
    """Fugacity of carbon dioxide at a pressure of it: ``p exp(B p / RT)`` [bar]."""
    kelvin = temperature_c + KELVIN_AT_0_C
    per_bar = virial_cm3_mol(temperature_c) * 0.1 / (GAS_CONSTANT_J_MOL_K * kelvin)
    return pressure_bar * math.exp(per_bar * pressure_bar)


def pressure_from_fugacity(fugacity: float, temperature_c: float) -> float:
    """Inverse of `fugacity_bar`, by steps to 1e-12 [bar]."""
    kelvin = temperature_c + KELVIN_AT_0_C
    per_bar = virial_cm3_mol(temperature_c) * 0.1 / (GAS_CONSTANT_J_MOL_K * kelvin)
    pressure = fugacity
    for _ in range(200):
        new = fugacity * math.exp(-per_bar * pressure)
        if abs(new - pressure) < 1e-12:
            break
        pressure = new
    return pressure


def relative_solubility(alcohol_pct: float, sugar_g_l: float) -> float:
    """Solubility in a mead over that in water [-].

    Parameters
    ----------
    alcohol_pct : float
        0 to 25 [% vol].
    sugar_g_l : float
        0 to 300 [g/L].

    Notes
    -----
    ``(0.86 - 0.01 A)(1 - 0.00144 S) / 0.86``, from the relation of OIVAS314 at 20 °C; taken to hold
    at other temperatures (assumed).
    """
    return (0.86 - 0.01 * alcohol_pct) * (1 - 0.00144 * sugar_g_l) / 0.86


def co2_g_l_from_pressure(
    pressure_bar: float, temperature_c: float, alcohol_pct: float = 0.0, sugar_g_l: float = 0.0
) -> float:
    """Carbon dioxide dissolved under an *absolute* pressure of it.

    Parameters
    ----------
    pressure_bar : float
        Absolute, 0 to 15 [bar]; gauge pressure plus 1.01325.
    temperature_c : float
        -2 to 40 [°C].
    alcohol_pct : float
        Of the mead, 0 to 25 [% vol].
    sugar_g_l : float
        Of the mead, 0 to 300 [g/L].

    Returns
    -------
    float
        [g/L].

    Raises
    ------
    InputError
        If a value is out of its range.

    Notes
    -----
    ``K0 x fugacity x 44.009 x water density x relative solubility``; Weiss1974, OIVAS314.

    Examples
    --------
    >>> round(co2_g_l_from_pressure(1.01325, 20), 2)
    1.71
    """
    _check(temperature_c, alcohol_pct, sugar_g_l)
    within(pressure_bar, 0, MOST_BAR, "pressure", say("an absolute pressure in bar"))
    per_atm = _g_l_per_atm(temperature_c, alcohol_pct, sugar_g_l)
    return per_atm * fugacity_bar(pressure_bar, temperature_c) / BAR_PER_ATM


def pressure_bar_from_co2(
    co2_g_l: float, temperature_c: float, alcohol_pct: float = 0.0, sugar_g_l: float = 0.0
) -> float:
    """Absolute pressure of carbon dioxide over a mead that holds a given amount of it.

    Parameters
    ----------
    co2_g_l : float
        0 to 20 [g/L].
    temperature_c : float
        -2 to 40 [°C].
    alcohol_pct : float
        Of the mead, 0 to 25 [% vol].
    sugar_g_l : float
        Of the mead, 0 to 300 [g/L].

    Returns
    -------
    float
        Absolute; less 1.01325 it is the gauge pressure [bar].

    Raises
    ------
    InputError
        If a value is out of its range.

    Notes
    -----
    Inverse of `co2_g_l_from_pressure`; Weiss1974, OIVAS314.

    Examples
    --------
    >>> round(pressure_bar_from_co2(2.5 * 1.9768, 30), 2)
    3.89
    """
    _check(temperature_c, alcohol_pct, sugar_g_l)
    within(co2_g_l, 0, 20, "co2", say("carbon dioxide in g/L"))
    per_atm = _g_l_per_atm(temperature_c, alcohol_pct, sugar_g_l)
    return pressure_from_fugacity(co2_g_l / per_atm * BAR_PER_ATM, temperature_c)


def _g_l_per_atm(temperature_c: float, alcohol_pct: float, sugar_g_l: float) -> float:
    density = float(water_density_kg_m3(max(temperature_c, 0.0))) / 1000
    water = k0_mol_kg_atm(temperature_c) * CO2_G_MOL * density
    return water * relative_solubility(alcohol_pct, sugar_g_l)


def _check(temperature_c: float, alcohol_pct: float, sugar_g_l: float) -> None:
    within(temperature_c, COLDEST_C, HOTTEST_C, "temperature", say("a temperature in C"))
    within(alcohol_pct, 0, ETHANOL_HIGHEST_PCT, "alcohol", say("an alcohol in % vol"))
    within(sugar_g_l, 0, 300, "residual_sugar", say("sugar in g/L"))


def co2_g_l_oiv(pressure_pa: float, alcohol_pct: float, sugar_g_l: float) -> float:
    """Carbon dioxide in sparkling wine at 20 °C by the official relation.

    Parameters
    ----------
    pressure_pa : float
        *Absolute* pressure at 20 °C, at least 0 [Pa]; the pressures of wine law are above the
        air (gauge).
    alcohol_pct : float
        0 to 25 [% vol].
    sugar_g_l : float
        0 to 300 [g/L].

    Returns
    -------
    float
        [g/L].

    Notes
    -----
    ``1.951e-5 P (0.86 - 0.01 A)(1 - 0.00144 S)``, OIVAS314; EEC1990 chapter 37.

    Examples
    --------
    >>> round(co2_g_l_oiv(401325, 12, 10), 3)
    5.711
    """
    return 1.951e-5 * pressure_pa * (0.86 - 0.01 * alcohol_pct) * (1 - 0.00144 * sugar_g_l)


def co2_volumes_oiv(pressure_pa: float, alcohol_pct: float, sugar_g_l: float) -> float:
    """Carbon dioxide as in `co2_g_l_oiv`, but in litres of gas per litre.

    Parameters
    ----------
    pressure_pa : float
        *Absolute* pressure at 20 °C, at least 0 [Pa].
    alcohol_pct : float
        0 to 25 [% vol].
    sugar_g_l : float
        0 to 300 [g/L].

    Returns
    -------
    float
        [L/L].

    Notes
    -----
    ``0.987e-5 P (0.86 - 0.01 A)(1 - 0.00144 S)``, OIVAS314.
    """
    return 0.987e-5 * pressure_pa * (0.86 - 0.01 * alcohol_pct) * (1 - 0.00144 * sugar_g_l)
