"""How far may acid be raised or lowered: the ceilings and floors of a legal profile."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from mustwright.errors import ImpossibleError
from mustwright.finishing.acid_chemistry import TARTARIC_G_EQ, equivalent_mass
from mustwright.finishing.law import FinishingLaw, FinishingLimit
from mustwright.texts import say

OWN_LIMITS = {
    "citric": ("citric_added", "citric_total"),
    "calcium_carbonate": ("calcium_carbonate",),
}


@dataclass(frozen=True)
class AcidBound:
    """The most of an acid or carbonate one line of a profile leaves.

    Parameters
    ----------
    most_g_l : float
        Of the substance itself [g/L].
    field : str
        The field that asks for more.
    words : str
        What the line needs, with its source.
    """

    most_g_l: float
    field: str
    words: str


def refuse_ph(law: FinishingLaw, to_ph: float) -> None:
    """Refuse a pH below the one acid may bring a drink to.

    Raises
    ------
    ImpossibleError
    """
    lowest = law.lowest("ph_floor")
    if lowest is not None and lowest.low is not None and to_ph < lowest.low:
        words = say(
            "needs a pH kept at {lowest_ph:g} or above ({line})",
            lowest_ph=lowest.low,
            line=_line(law, lowest),
        )
        raise ImpossibleError("to_ph", words, to_ph)


def acid_bounds(
    law: FinishingLaw,
    entry: Mapping[str, Any],
    is_acid: bool,
    acidity_g_l: float | None,
    where: str,
) -> tuple[AcidBound, ...]:
    """The largest doses a profile leaves.

    Parameters
    ----------
    law : FinishingLaw
    entry : mapping
        Record of the acid or carbonate.
    is_acid : bool
        Whether it raises the acidity.
    acidity_g_l : float or None
        Titratable acidity now, as tartaric, 0 to 30 [g/L]; None leaves its ceiling and floor out.
    where : str
        The field that asks for the change.

    Returns
    -------
    tuple of AcidBound
        One for each line of the profile that bounds this substance; empty where none does.
    """
    bounds = []
    own = law.highest(*OWN_LIMITS.get(str(entry["id"]), ()))
    if own is not None and own.high is not None:
        words = say(
            "needs at most {most:g} g/L of {name} ({line})",
            most=own.high,
            name=entry["name"],
            line=_line(law, own),
        )
        bounds.append(AcidBound(own.high, "with", words))
    per_tartaric = equivalent_mass(entry) / TARTARIC_G_EQ
    change = law.highest("acid_rise" if is_acid else "acid_fall")
    if change is not None and change.high is not None:
        most, line = change.high, _line(law, change)
        raised = say(
            "needs an acidity raised by at most {most:g} g/L as tartaric ({line})",
            most=most,
            line=line,
        )
        lowered = say(
            "needs an acidity lowered by at most {most:g} g/L as tartaric ({line})",
            most=most,
            line=line,
        )
        words = raised if is_acid else lowered
        bounds.append(AcidBound(change.high * per_tartaric, where, words))
    end = law.highest("acid_ceiling") if is_acid else law.lowest("acid_floor")
    if end is not None and acidity_g_l is not None:
        bounds.append(_to_the_end(law, end, is_acid, acidity_g_l, per_tartaric, where))
    return tuple(bounds)


def _to_the_end(
    law: FinishingLaw,
    end: FinishingLimit,
    is_acid: bool,
    acidity_g_l: float,
    per_tartaric: float,
    where: str,
) -> AcidBound:
    """The dose that brings a known acidity to the ceiling or the floor."""
    at = end.high if is_acid else end.low
    assert at is not None
    spare = at - acidity_g_l if is_acid else acidity_g_l - at
    line = _line(law, end)
    below = say("needs an acidity kept at {at:g} g/L or below ({line})", at=at, line=line)
    above = say("needs an acidity kept at {at:g} g/L or above ({line})", at=at, line=line)
    words = below if is_acid else above
    return AcidBound(max(0.0, spare) * per_tartaric, where, words)


def acid_law_words(
    law: FinishingLaw, entry: Mapping[str, Any], is_acid: bool, acidity_g_l: float | None
) -> list[str]:
    """The lines that were looked at, and what could not be checked.

    Parameters
    ----------
    law : FinishingLaw
    entry : mapping
        Record of the acid or carbonate.
    is_acid : bool
        Whether it raises the acidity.
    acidity_g_l : float or None
        Titratable acidity now, as tartaric, 0 to 30 [g/L]; None is not known.

    Returns
    -------
    list of str
        Whole sentences.
    """
    names = ("acid_ceiling", "acid_rise", "ph_floor") if is_acid else ("acid_floor", "acid_fall")
    names = (*OWN_LIMITS.get(str(entry["id"]), ()), *names)
    words = [_line(law, law.limits[name]) + "." for name in names if name in law.limits]
    if acidity_g_l is None and {"acid_ceiling", "acid_floor"} & set(law.limits) & set(names):
        words.append(
            say(
                "Its acidity was not typed, so whether it stays within the line of acidity was "
                "not checked: measure it, or type it."
            )
        )
    return words


def _line(law: FinishingLaw, limit: FinishingLimit) -> str:
    """A line of the profile in words: what it says, for what drink, and its source."""
    return say(
        "{law}: {statement}; {source}",
        law=law.name,
        statement=limit.statement.rstrip("."),
        source=limit.source,
    )
