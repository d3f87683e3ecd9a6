"""What does a step of the finishing bench return: what was added, what it brings, what to mind."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from mustwright import data
from mustwright.errors import InputError, UnknownKindError
from mustwright.figure import Figure, source_words
from mustwright.texts import Text, say


@dataclass(frozen=True)
class Addition:
    """Something that goes into the batch, as a log would keep it.

    Parameters
    ----------
    substance : str
        Id, such as ``potassium_metabisulfite`` or an ingredient id.
    name : str
        In plain words.
    grams : Figure
        Of the substance itself [g], whatever it is dissolved in.
    brings : mapping of str to Figure
        What a litre of the batch gains, by quantity (``total_so2_mg_l``, ``potassium_mg_l``).
    measure : str
        How it is measured out, where not by weighing (``38 mL of stock solution``).
    """

    substance: str
    name: str
    grams: Figure
    brings: Mapping[str, Figure] = field(default_factory=dict)
    measure: str = ""


@dataclass(frozen=True)
class Recorded:
    """What every step hands to a log besides its own figures.

    Parameters
    ----------
    additions : tuple of Addition
        What goes in; empty where nothing does.
    after : mapping of str to Figure
        The batch after the step, by quantity (``volume_l``, ``alcohol_pct``, ``gravity``).
    steps : tuple of str
        What to do, in order.
    notes : tuple of str
        What was assumed, and what to know of the figures.
    cautions : tuple of str
        Dangers, for the place where the work is done.
    """

    additions: tuple[Addition, ...] = ()
    after: Mapping[str, Figure] = field(default_factory=dict)
    steps: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def cautions(*names: str) -> tuple[str, ...]:
    """The texts of some cautions by id."""
    return tuple(data.load("cautions")[name]["text"] for name in names)


@cache
def finishing_data() -> dict[str, Any]:
    """The records of the finishing bench."""
    return data.load("finishing")


def record(table: str, identity: object, where: str) -> Mapping[str, Any]:
    """Find one record in a list of kinds, by id.

    Parameters
    ----------
    table : str
        A list of the finishing records.
    identity : object
        The id; capitals, blanks and hyphens do not matter.
    where : str
        The field it was typed in.

    Returns
    -------
    mapping

    Raises
    ------
    UnknownKindError
        With the known ids.
    """
    kinds = {str(one["id"]): one for one in finishing_data()[table]}
    key = str(identity).strip().lower().replace(" ", "_").replace("-", "_")
    if not isinstance(identity, str) or key not in kinds:
        raise UnknownKindError(where, say("needs one of {known}", known=", ".join(kinds)), identity)
    return kinds[key]  # type: ignore[no-any-return]


def sourced(entry: Mapping[str, Any]) -> Text:
    """The source of a record, with its note on what was made of it."""
    source = str(entry["source"]).removesuffix(":")
    return say("{source}: {note}", source=source_words(source), note=entry["note"])


def published(entry: Mapping[str, Any], name: str, unit: str) -> Figure:
    """A value of the finishing records, with its range and source.

    Parameters
    ----------
    entry : mapping
        With ``typical`` and ``source``; ``low`` and ``high`` if there is a range.
    name : str
    unit : str
        Printed unit of the value.

    Returns
    -------
    Figure
        In the unit given [any unit].

    Raises
    ------
    KeyError
        If the record has no ``typical`` or no ``source``.
    """
    low, high = entry.get("low"), entry.get("high")
    return Figure(
        float(entry["typical"]),
        unit,
        say("{name}: value of the record", name=name),
        str(entry["source"]),
        {},
        None if low is None else float(low),
        None if high is None else float(high),
    )


def within(value: float, low: float, high: float, field_name: str, meaning: str) -> float:
    """Give a value back, or refuse it outside its bounds.

    Parameters
    ----------
    value, low, high : float
        All in one unit [any unit].
    field_name, meaning : str
        The field, and what it needs, for the error.

    Returns
    -------
    float
        The value, unchanged [any unit].

    Raises
    ------
    InputError
        If it lies outside, or is not a number.
    """
    if not low <= value <= high:
        raise InputError(
            field_name,
            say("needs {meaning} from {low:g} to {high:g}", meaning=meaning, low=low, high=high),
            value,
        )
    return value
