"""What an acid or base does per gram: equivalents, protons given off, a mead's buffer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from mustwright.errors import ImpossibleError, InputError
from mustwright.finishing.step import finishing_data, record
from mustwright.texts import say

TARTARIC_G_EQ = 75.043


def equivalent_mass(entry: Mapping[str, Any]) -> float:
    """Grams of an acid or base per equivalent, by titration to about pH 8.2 [g/eq].

    Examples
    --------
    >>> round(equivalent_mass(record("acid", "citric", "x")), 3)
    64.041
    """
    return float(entry["molar_mass"]) / float(entry["equivalents"])


def acidity_as(acidity_as_tartaric_g_l: float, acid: str) -> float:
    """An acidity counted as tartaric, counted as another acid [g/L].

    Examples
    --------
    >>> round(acidity_as(1.0, "malic"), 4)
    0.8934
    """
    return acidity_as_tartaric_g_l * equivalent_mass(record("acid", acid, "acid")) / TARTARIC_G_EQ


def protons_given(entry: Mapping[str, Any], ph: float) -> float:
    """Protons one molecule of an acid has given off at a pH, ideal [mol/mol].

    Examples
    --------
    >>> round(protons_given(record("acid", "lactic", "x"), 3.863), 3)
    0.5
    """
    terms, product = [1.0], 1.0
    for pk in entry["pk"]:
        product *= 10 ** (ph - float(pk))
        terms.append(product)
    return sum(i * t for i, t in enumerate(terms)) / sum(terms)


def buffer_from_titration(readings: Sequence[tuple[float, float]], substance: str) -> float:
    """Buffer of a mead from glasses dosed on the bench [meq/L per pH].

    Parameters
    ----------
    readings : sequence of (dose_g_l, ph)
        At least two, of different dose.
    substance : str
        Id of the acid or base that was dosed.

    Notes
    -----
    Slope of pH over milliequivalents by least squares; an acid gives the protons it has given off
    at the mean pH of the readings.
    """
    is_acid, entry = substance_called(substance)
    if len(readings) < 2 or len({dose for dose, _ in readings}) < 2:
        raise InputError(
            "titration", say("needs at least two glasses of different dose"), len(readings)
        )
    mean_ph = sum(ph for _, ph in readings) / len(readings)
    per_mol = protons_given(entry, mean_ph) if is_acid else -float(entry["equivalents"])
    meq = [1000 * dose / float(entry["molar_mass"]) * per_mol for dose, _ in readings]
    mean = sum(meq) / len(meq)
    over = sum((m - mean) * (ph - mean_ph) for m, (_, ph) in zip(meq, readings, strict=True))
    under = sum((m - mean) ** 2 for m in meq)
    slope = over / under
    if not slope < 0:
        raise ImpossibleError(
            "titration",
            say("needs a pH that falls with acid and rises with base"),
            say("slope {slope:g}", slope=slope),
        )
    return -1 / slope


def substance_called(substance: str) -> tuple[bool, Mapping[str, Any]]:
    """Whether it is an acid, and its record."""
    acids = {str(a["id"]) for a in finishing_data()["acid"] if a.get("added", True)}
    key = str(substance).strip().lower().replace(" ", "_").removesuffix("_acid")
    if key in acids:
        return True, record("acid", key, "with")
    bases = {str(one["id"]) for one in finishing_data()["base"]}
    key = str(substance).strip().lower().replace(" ", "_")
    if key not in bases:
        known = ", ".join([*sorted(acids), *sorted(bases)])
        raise InputError("with", say("needs one of {known}", known=known), substance)
    return False, record("base", key, "with")
