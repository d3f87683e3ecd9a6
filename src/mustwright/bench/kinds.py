"""The kinds of field that a finishing step has: how each is typed and read."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from mustwright.errors import InputError
from mustwright.figure import typed as typed_figure
from mustwright.finishing.law import finishing_law
from mustwright.must.gravity_text import with_scale
from mustwright.must.ingredient import Ingredient, ingredient_called, with_lot_facts
from mustwright.planning.gravity_scales import gravity_figure
from mustwright.texts import say
from mustwright.units import mass_kg, parse_quantity, temperature_c, volume_l

YES, NO = ("yes", "true", "on", "1", "ja"), ("no", "false", "off", "0", "nein")
_DECIMAL_COMMA = re.compile(r"[01],\d{3}")
RANGE = re.compile(r"\s*(?:\bto\b|\bbis\b|\.\.)\s*")


@dataclass
class AsTyped:
    """What was typed, by field, and what was assumed in reading it."""

    given: Mapping[str, object] = field(default_factory=dict)
    assumed: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class FieldKind:
    """How one kind of field is typed and read.

    Parameters
    ----------
    metavar : str
        What a command shows in place of the value.
    read : callable
        The value from what was typed, the field's name, and the fields it stands among.
    unit : str
        Suffix of the argument that it fills: ``_l``, ``_mg_l``.
    such_as : str
        What is asked for where the field is needed and missing.
    dimension : str
        What a range of it holds.
    empty : object
        Its value where nothing was typed.
    scaled : callable or None
        What was typed into a form, bare gravities in it with the scale chosen; commands and files
        are read as they stand.
    """

    metavar: str
    read: Callable[[object, str, AsTyped], Any]
    unit: str = ""
    such_as: str = ""
    dimension: str = "number"
    empty: object = None
    scaled: Callable[[str, str], str] | None = None


def gravity_scaled(text: str, name: str) -> str:
    """A gravity or a range of them as typed into a form, with the scale chosen."""
    return " to ".join(with_scale(end, name) for end in RANGE.split(text.strip()))


def _noted(read: Callable[[object, str], tuple[float, str]], factor: float = 1.0) -> Any:
    """A value with a word on what was assumed in reading it."""

    def value(raw: object, name: str, among: AsTyped) -> float:
        number, note = read(raw, name)
        among.assumed += [note] if note else []
        return number * factor

    return value


def _quantity(
    dimension: str, such_as: str, bare: str = "", factor: float = 1.0, said: bool = True
) -> Any:
    """A quantity of one dimension; a bare number is in the unit `bare`, or refused without one."""

    def value(raw: object, name: str, among: AsTyped) -> float:
        found = parse_quantity(raw, name)
        among.assumed += [found.assumed] if found.assumed else []
        if found.dimension == "number" and bare:
            among.assumed += (
                [say("{name}: no unit given, read as {bare}", name=name, bare=bare)] if said else []
            )
            return found.value
        right = found.dimension == dimension or (
            dimension == "mass concentration" and found.unit == "g/L sugar"
        )
        if not right:
            raise InputError(name, say("needs {such_as}", such_as=such_as), raw)
        return found.value * factor

    return value


def _text(raw: object, name: str, _among: object = None) -> str:
    if not isinstance(raw, str) or len(raw) > 500:
        raise InputError(name, say("needs a line of text"), raw)
    return raw.strip()


def _flag(raw: object, name: str, _among: object = None) -> bool:
    if isinstance(raw, bool):
        return raw
    word = str(raw).strip().lower()
    if word not in (*YES, *NO):
        raise InputError(name, say("needs yes or no"), raw)
    return word in YES


def _day(raw: object, name: str, _among: object = None) -> date:
    if isinstance(raw, date):
        return raw
    try:
        return date.fromisoformat(str(raw).strip())
    except ValueError:
        raise InputError(name, say("needs a date such as 2026-03-01"), raw) from None


def gravity_of(value: object, name: str, _among: object = None) -> float:
    """Apparent gravity 20/20 of what was typed on any scale; a bare number is a gravity."""
    if isinstance(value, str) and _DECIMAL_COMMA.fullmatch(value.strip()):
        value = value.replace(",", ".")  # 1,062: as thousands or as a decimal, it means the same
    quantity = parse_quantity(value, name)
    if quantity.dimension == "number":
        if not 0.9 <= quantity.value <= 1.4:
            raise InputError(
                name, say("needs a gravity such as 0.998, or a scale as in '4 Bx'"), value
            )
        return quantity.value
    if quantity.dimension != "gravity":
        raise InputError(name, say("needs a gravity such as 0.998 or '4 Bx'"), value)
    return gravity_figure(typed_figure(quantity.value, quantity.unit), name).value


def ingredient_of(raw: object, name: str, among: AsTyped) -> Ingredient:
    """An ingredient by name, with this lot's moisture or Brix where typed."""
    found, note = ingredient_called(raw, name)
    facts = {}
    for fact, parameter in (("moisture", "moisture_pct"), ("brix", "brix")):
        value = among.given.get(fact)
        if isinstance(value, str):
            value = re.sub(r"(?i)\s*(%|bx|brix)\s*$", "", value)
        if value is not None:
            facts[parameter] = value
    if facts:
        found, notes = with_lot_facts(found, facts, name)
        among.assumed += notes
    among.assumed += [note] if note else []
    return found


def range_of(text: object, name: str, dimension: str) -> tuple[float, float]:
    """A value or a range such as ``12 to 14 %``; a bare number is in the base unit.

    Examples
    --------
    >>> range_of("12 to 14 %", "tolerance", "alcohol")
    (12.0, 14.0)
    """
    ends = RANGE.split(str(text).strip())
    if not 1 <= len(ends) <= 2:
        raise InputError(name, say("needs a value or a range such as '12 to 14'"), text)
    values = []
    for end in ends:
        if dimension == "gravity":
            values.append(gravity_of(end, name))
            continue
        quantity = parse_quantity(end, name)
        if quantity.dimension not in (dimension, "number"):
            held = _DIMENSIONS.get(dimension, dimension)
            raise InputError(
                name, say("needs {dimension}, or a number alone", dimension=held), text
            )
        values.append(quantity.value)
    return values[0], values[-1]


_DIMENSIONS = {
    "alcohol": say("alcohol", context="dimension"),
    "mass concentration": say("mass concentration", context="dimension"),
    "number": say("number", context="dimension"),
}


def raw_of(raw: object, _name: str, _among: object = None) -> object:
    """As it came, for a step that reads it itself."""
    return raw


_IN_G_L, _BY_MASS = say("a concentration such as '5 g/L'"), "mass concentration"

TEXT = FieldKind("TEXT", _text, empty="")
KIND = FieldKind("KIND", _text, empty="")
FLAG = FieldKind("", _flag, empty=False)
DAY = FieldKind("DATE", _day)
VOLUME = FieldKind("VOLUME", _noted(volume_l), "_l", say("a volume such as '19 L'"), "volume")
MASS = FieldKind("MASS", _noted(mass_kg, 1000.0), "_g", say("a mass such as '20 g'"), "mass")
KILOGRAMS = FieldKind("MASS", _noted(mass_kg), "_kg", say("a mass such as '2 kg'"), "mass")
CELSIUS = FieldKind("TEMPERATURE", _noted(temperature_c), "_c", "", "temperature")
ALCOHOL = FieldKind(
    "ALCOHOL", _quantity("alcohol", say("an alcohol such as '12 %'"), "% vol"), "_pct",
    say("an alcohol such as '12 %'"), "alcohol",
)  # fmt: skip
PERCENT = FieldKind("PERCENT", _quantity("alcohol", say("a share such as '40 %'"), "%"), "_pct")
BAR = FieldKind("BAR", _quantity("pressure", say("a pressure such as '2.5 bar'")), "_bar")
LENGTH = FieldKind("LENGTH", _quantity("length", say("a length such as '2 cm'")), "_cm")
DAYS = FieldKind(
    "DAYS", _quantity("time", say("a time such as '28 d'"), "days", 1 / 24, said=False)
)
G_L = FieldKind("G/L", _quantity(_BY_MASS, _IN_G_L, "g/L"), "_g_l", _IN_G_L, _BY_MASS)
MG_L = FieldKind("MG/L", _quantity(_BY_MASS, _IN_G_L, "mg/L", 1000.0), "_mg_l", "", _BY_MASS)
MOLECULAR = FieldKind(  # mg/L goes without saying
    "MG/L", _quantity(_BY_MASS, _IN_G_L, "mg/L", 1000.0, said=False), "_mg_l"
)
NUMBER = FieldKind("NUMBER", _quantity("number", say("a number without a unit")))
GRAVITY = FieldKind(
    "GRAVITY", gravity_of, "", say("a gravity such as 0.998"), "gravity", scaled=gravity_scaled
)
MOISTURE, BRIX = FieldKind("PERCENT", raw_of), FieldKind("BRIX", raw_of)  # of an ingredient
INGREDIENT = FieldKind("KIND", ingredient_of)
TOLERANCE = FieldKind("ALCOHOL", lambda raw, name, _: range_of(raw, name, "alcohol"))
LAW = FieldKind("ID", lambda raw, name, _: finishing_law(raw, name))
