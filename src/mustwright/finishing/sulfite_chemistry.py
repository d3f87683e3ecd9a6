"""How much of free sulfur dioxide is molecular: pK by temperature, alcohol, ionic strength."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from mustwright.constants import GAS_CONSTANT_J_MOL_K, KELVIN_AT_0_C
from mustwright.errors import warn_validity
from mustwright.figure import Figure, typed
from mustwright.finishing.step import finishing_data, within
from mustwright.must.density import ethanol_mass_fraction_from_pct_vol
from mustwright.texts import say
from mustwright.unit_system import degrees

LOWEST_PH, HIGHEST_PH = 2.6, 4.5
LOWEST_C, HIGHEST_C = -5.0, 40.0


@dataclass(frozen=True)
class TablePlace:
    """Where in the table a mead is looked up, and what was moved to get there."""

    temperature_c: float
    alcohol_pct: float
    notes: tuple[str, ...]


def table_place(temperature_c: float, alcohol_pct: float) -> TablePlace:
    """The place in the pK table (OIVAS323 Table 1: 20 to 40 °C, 0 to 15 % vol), and what is beyond.

    Parameters
    ----------
    temperature_c : float
        -5 to 40 [°C]; below 20 the table is carried on by the enthalpy of dissociation.
    alcohol_pct : float
        0 to 20 [% vol]; above 15 the last step of the table is carried on, as Table 2 (from memory)
        does, with a warning.

    Raises
    ------
    InputError
    """
    table = finishing_data()["sulfite_pk"]
    coldest, strongest = float(table["temperature_c"][0]), float(table["alcohol_pct"][-1])
    most = float(table["highest_alcohol_pct"])
    within(temperature_c, LOWEST_C, HIGHEST_C, "temperature", say("a temperature in C"))
    within(alcohol_pct, 0, most, "alcohol", say("an alcohol in % vol (where the pK table ends)"))
    notes = []
    if temperature_c < coldest:
        notes.append(
            say(
                "The published table (pK) begins at {coldest}. Below that, the published heat of "
                "dissociation extends it. The steps of the table itself are steeper and would ask "
                "for more: measure, and keep to the upper end of the range.",
                coldest=degrees(coldest),
            )
        )
    if alcohol_pct > strongest:
        ended = say(
            "The published pK table ends at {strongest:g} % vol; extended from memory.",
            strongest=strongest,
        )
        warn_validity(say("pK of sulfur dioxide: {ended}", ended=ended))
        notes.append(ended)
    return TablePlace(temperature_c, alcohol_pct, tuple(notes))


def thermodynamic_pk(temperature_c: float, alcohol_pct: float) -> float:
    """pK of sulfur dioxide at ionic strength 0.

    Parameters
    ----------
    temperature_c : float
        -5 to 40 [°C].
    alcohol_pct : float
        0 to 15, carried on to 20 [% vol].

    Notes
    -----
    Usseglio1984 as OIVAS323 Table 1, straight lines between its entries both ways. Below its
    coldest row ``pK = pK(20 C) + dH / (R ln 10) (1/T - 1/293.15 K)`` with the enthalpy of
    SeinfeldPandis Table 7.4 (second-hand).

    Examples
    --------
    >>> round(thermodynamic_pk(20, 10), 3), round(thermodynamic_pk(22.5, 12.5), 3)
    (1.997, 2.149)
    >>> round(thermodynamic_pk(10, 10), 3)
    1.887
    """
    table = finishing_data()["sulfite_pk"]
    temperatures, alcohols = table["temperature_c"], table["alcohol_pct"]
    coldest = float(temperatures[0])
    by_temperature = [_carried_on(alcohol_pct, alcohols, row) for row in table["pk"]]
    pk = float(np.interp(temperature_c, temperatures, by_temperature))
    if temperature_c >= coldest:
        return pk
    colder = 1 / (temperature_c + KELVIN_AT_0_C) - 1 / (coldest + KELVIN_AT_0_C)
    enthalpy = 1000 * float(table["enthalpy_kj_mol"])
    return pk + enthalpy / (GAS_CONSTANT_J_MOL_K * math.log(10)) * colder


def _carried_on(x: float, xs: list[float], ys: list[float]) -> float:
    """Straight lines between points, the last one carried on."""
    if x > xs[-1]:
        return ys[-1] + (x - xs[-1]) * (ys[-1] - ys[-2]) / (xs[-1] - xs[-2])
    return float(np.interp(x, xs, ys))


def ionic_shift(ionic_strength: float, temperature_c: float, alcohol_pct: float) -> float:
    """What ionic strength takes off the pK.

    Parameters
    ----------
    ionic_strength : float
        0 to 0.2 [mol/L].
    temperature_c : float
        -5 to 40 [°C].
    alcohol_pct : float
        0 to 20 [% vol].

    Returns
    -------
    float
        [-].

    Notes
    -----
    ``A sqrt(I) / (1 + B sqrt(I))``, as the method has it; A and B follow from the dielectric
    constant of the mixture (Malmberg1956, Akerlof1932, from memory), A with its power -3/2 and B
    with -1/2, and both with the same powers of the kelvin temperature. With I = 0.038 it gives
    OIVAS323 Table 2 (from memory) within 0.002.

    Examples
    --------
    >>> round(ionic_shift(0.038, 20, 10), 3)
    0.081
    """
    record = finishing_data()["dielectric"]
    polyval = np.polynomial.polynomial.polyval
    mass_pct = 100 * float(ethanol_mass_fraction_from_pct_vol(alcohol_pct))
    mixture = float(polyval(temperature_c, record["water"]))
    mixture += record["ethanol_per_pct_mass"] * mass_pct
    reference = float(polyval(20.0, record["water"]))
    ratio = reference / mixture * (KELVIN_AT_0_C + 20) / (KELVIN_AT_0_C + temperature_c)
    a = record["debye_huckel_a"] * ratio**1.5
    b = record["debye_huckel_ba"] * ratio**0.5
    root = ionic_strength**0.5
    return float(a * root / (1 + b * root))


def molecular_fraction(ph: float, pk: float) -> float:
    """Molecular share of the free sulfur dioxide: ``1 / (1 + 10^(pH - pK))``.

    Examples
    --------
    >>> round(100 * molecular_fraction(3.5, 1.81), 3)
    2.001
    """
    return float(1 / (1 + 10 ** (ph - pk)))


def pk_figure(temperature_c: float, alcohol_pct: float, ionic_strength: float | None) -> Figure:
    """The mixed pK of a mead, with the range that an unknown ionic strength leaves.

    Parameters
    ----------
    temperature_c : float
        As moved into the table by `table_place` [°C].
    alcohol_pct : float
        As moved into the table by `table_place` [% vol].
    ionic_strength : float or None
        0 to 0.2 [mol/L]; None takes the usual value and its range.

    Returns
    -------
    Figure
        pK [-].

    Raises
    ------
    InputError
        If the ionic strength is out of its range.

    Notes
    -----
    Usseglio1984 as OIVAS323 Table 1, less `ionic_shift`.
    """
    ions = finishing_data()["ionic_strength"]
    thermodynamic = Figure(
        thermodynamic_pk(temperature_c, alcohol_pct),
        "",
        say("table by temperature and alcohol, straight lines between entries; colder by enthalpy"),
        _pk_source(temperature_c, alcohol_pct),
        {"temperature_c": temperature_c, "alcohol_pct": alcohol_pct},
    )
    if ionic_strength is None:
        strength = Figure(float(ions["typical"]), "mol/L", say("usual value"), str(ions["source"]))
        ends = (float(ions["low"]), float(ions["high"]))
    else:
        within(ionic_strength, 0, 0.2, "ionic_strength", say("an ionic strength in mol/L"))
        strength, ends = typed(ionic_strength, "mol/L"), None
    shift = Figure(
        ionic_shift(strength.value, temperature_c, alcohol_pct),
        "",
        say("A sqrt(I) / (1 + B sqrt(I)), A and B by the dielectric constant of the mixture"),
        "OIVAS323; Malmberg1956 and Akerlof1932, from memory",
        {"ionic_strength": strength},
    )
    low = high = None
    if ends is not None:
        high, low = (
            thermodynamic.value - ionic_shift(end, temperature_c, alcohol_pct) for end in ends
        )
    return Figure(
        thermodynamic.value - shift.value,
        "",
        say("pK at ionic strength 0 - shift"),
        "OIVAS323",
        {"pk_thermodynamic": thermodynamic, "shift": shift},
        low,
        high,
    )


def _pk_source(temperature_c: float, alcohol_pct: float) -> str:
    """Where the pK comes from, beyond the table too."""
    table = finishing_data()["sulfite_pk"]
    parts = [str(table["source"])]
    if alcohol_pct > table["alcohol_pct"][-1]:
        parts = [str(table["beyond_source"])]
    if temperature_c < table["temperature_c"][0]:
        parts.append(str(table["enthalpy_source"]))
    return "; ".join(parts)
