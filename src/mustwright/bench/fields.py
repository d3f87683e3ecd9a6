"""What the maker typed for one finishing step, read field by field, with what was assumed."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any, TypeVar

from mustwright.errors import InputError, validity_notes
from mustwright.figure import typed as typed_figure
from mustwright.finishing.law import FinishingLaw, finishing_law
from mustwright.must.ingredient import Ingredient, ingredient_called, with_lot_facts
from mustwright.planning.gravity_scales import gravity_figure
from mustwright.units import Quantity, mass_kg, parse_quantity, temperature_c, volume_l

Result = TypeVar("Result")
NOTHING = (None, "", ())
YES, NO = ("yes", "true", "on", "1"), ("no", "false", "off", "0")


class TypedFields:
    """The fields of one step.

    Parameters
    ----------
    given : mapping of str to object
        As typed; empty fields count as left out.
    known : sequence of str
        The fields this step has; any other is refused.
    """

    def __init__(self, given: Mapping[str, object], known: Sequence[str]) -> None:
        self.given = {k: v for k, v in given.items() if v not in NOTHING and v is not False}
        self.assumed: list[str] = []
        for name in self.given:
            if name not in known:
                raise InputError(name, f"is no field of this step; known: {', '.join(known)}", name)

    def has(self, name: str) -> bool:
        """Whether the field was filled in."""
        return name in self.given

    def raw(self, name: str) -> object:
        """The field as typed, or None."""
        return self.given.get(name)

    def text(self, name: str, default: str = "") -> str:
        """A word or line."""
        value = self.given.get(name, default)
        if not isinstance(value, str) or len(value) > 500:
            raise InputError(name, "needs a line of text", value)
        return value.strip()

    def flag(self, name: str) -> bool:
        """Yes or no."""
        value = self.given.get(name, False)
        if isinstance(value, bool):
            return value
        word = str(value).strip().lower()
        if word not in (*YES, *NO):
            raise InputError(name, "needs yes or no", value)
        return word in YES

    def many(self, name: str) -> list[object]:
        """A field that may be given several times; text is split at semicolons or line ends."""
        value = self.given.get(name, ())
        if isinstance(value, str):
            return [part.strip() for part in re.split(r"[;\n]", value) if part.strip()]
        if isinstance(value, Sequence):
            return list(value)
        return [value]

    def volume(self, name: str) -> float | None:
        """Litres."""
        return self._with_note(name, volume_l)

    def need_volume(self, name: str = "volume") -> float:
        """Litres, asked for when missing."""
        return _needed(self.volume(name), name, "a volume such as '19 L'")

    def kilograms(self, name: str) -> float | None:
        """Kilograms."""
        return self._with_note(name, mass_kg)

    def grams(self, name: str) -> float | None:
        """Grams."""
        kg = self.kilograms(name)
        return None if kg is None else kg * 1000

    def celsius(self, name: str) -> float | None:
        """Degrees Celsius."""
        return self._with_note(name, temperature_c)

    def alcohol(self, name: str = "alcohol") -> float | None:
        """Alcohol [% vol]; a bare number is % vol."""
        return self._plain(name, "alcohol", "% vol", "an alcohol such as '12 %'")

    def need_alcohol(self, name: str = "alcohol") -> float:
        """Alcohol, asked for when missing."""
        return _needed(self.alcohol(name), name, "an alcohol such as '12 %'")

    def percent(self, name: str) -> float | None:
        """A share in percent; a bare number is percent."""
        return self._plain(name, "alcohol", "%", "a share such as '40 %'")

    def bar(self, name: str) -> float | None:
        """A gauge pressure [bar]; a bare number is refused."""
        return self._plain(name, "pressure", "", "a pressure such as '2.5 bar'")

    def centimetres(self, name: str) -> float | None:
        """A length [cm]; a bare number is refused."""
        return self._plain(name, "length", "", "a length such as '2 cm'")

    def days(self, name: str) -> float | None:
        """A time [d]; a bare number is days."""
        quantity = self._quantity(name)
        if quantity is None:
            return None
        if quantity.dimension == "number":
            return quantity.value
        if quantity.dimension != "time":
            raise InputError(name, "needs a time such as '28 d'", self.raw(name))
        return quantity.value / 24

    def g_l(self, name: str, bare: str = "g/L") -> float | None:
        """A concentration [g/L]; a bare number is in the unit `bare`."""
        quantity = self._quantity(name)
        if quantity is None:
            return None
        if quantity.dimension == "number":
            self.assumed.append(f"{name}: bare number read as {bare}")
            return quantity.value / (1000 if bare == "mg/L" else 1)
        if quantity.unit == "g/L sugar":
            return quantity.value
        if quantity.dimension != "mass concentration":
            raise InputError(name, "needs a concentration such as '5 g/L'", self.raw(name))
        return quantity.value

    def mg_l(self, name: str) -> float | None:
        """A concentration [mg/L]; a bare number is mg/L."""
        value = self.g_l(name, "mg/L")
        return None if value is None else value * 1000

    def number(self, name: str) -> float | None:
        """A bare number, such as a pH."""
        quantity = self._quantity(name)
        if quantity is None:
            return None
        if quantity.dimension != "number":
            raise InputError(name, "needs a number without a unit", self.raw(name))
        return quantity.value

    def gravity(self, name: str) -> float | None:
        """Apparent gravity 20/20 from any scale; a bare number is a gravity."""
        value = self.raw(name)
        return None if value is None else gravity_of(value, name)

    def need_gravity(self, name: str = "gravity") -> float:
        """Gravity, asked for when missing."""
        return _needed(self.gravity(name), name, "a gravity such as 0.998")

    def day(self, name: str, default: date) -> date:
        """A date, written year-month-day."""
        value = self.raw(name)
        if value is None:
            return default
        if isinstance(value, date):
            return value
        try:
            return date.fromisoformat(str(value).strip())
        except ValueError:
            raise InputError(name, "needs a date such as 2026-03-01", value) from None

    def law(self) -> FinishingLaw:
        """The legal profile; that of the home when left out."""
        return finishing_law(self.given.get("profile", "home"))

    def ingredient(self, name: str, default: str | None = None) -> Ingredient | None:
        """An ingredient by name, with this lot's moisture or Brix where typed."""
        kind = self.given.get(name, default)
        if kind is None:
            return None
        found, note = ingredient_called(kind, name)
        facts = {
            fact: self.given[field]
            for field, fact in (("moisture", "moisture_pct"), ("brix", "brix"))
            if field in self.given
        }
        if facts:
            for field in ("moisture", "brix"):
                value = self.given.get(field)
                if isinstance(value, str):
                    bare = re.sub(r"(?i)\s*(%|bx|brix)\s*$", "", value)
                    facts[{"moisture": "moisture_pct", "brix": "brix"}[field]] = bare
            found, notes = with_lot_facts(found, facts, name)
            self.assumed += notes
        if note:
            self.assumed.append(note)
        return found

    def _with_note(
        self, name: str, read: Callable[[object, str], tuple[float, str]]
    ) -> float | None:
        value = self.raw(name)
        if value is None:
            return None
        number, note = read(value, name)
        if note:
            self.assumed.append(note)
        return number

    def _plain(self, name: str, dimension: str, bare: str, such_as: str) -> float | None:
        quantity = self._quantity(name)
        if quantity is None:
            return None
        if quantity.dimension == "number" and bare:
            self.assumed.append(f"{name}: bare number read as {bare}")
        elif quantity.dimension != dimension:
            raise InputError(name, f"needs {such_as}", self.raw(name))
        return quantity.value

    def _quantity(self, name: str) -> Quantity | None:
        value = self.raw(name)
        if value is None:
            return None
        quantity = parse_quantity(value, name)
        if quantity.assumed:
            self.assumed.append(quantity.assumed)
        return quantity


def _needed(value: float | None, name: str, what: str) -> float:
    if value is None:
        raise InputError(name, f"needs {what}", None)
    return value


def gravity_of(value: object, name: str) -> float:
    """Apparent gravity 20/20 of what was typed on any scale."""
    quantity = parse_quantity(value, name)
    if quantity.dimension == "number":
        if not 0.9 <= quantity.value <= 1.4:
            raise InputError(name, "needs a gravity such as 0.998, or a scale as in '4 Bx'", value)
        return quantity.value
    if quantity.dimension != "gravity":
        raise InputError(name, "needs a gravity such as 0.998 or '4 Bx'", value)
    return gravity_figure(typed_figure(quantity.value, quantity.unit), name).value


def run(fields: TypedFields, work: Callable[[], Result]) -> Result:
    """Do one step and put what was assumed in reading, and out-of-range notes, among its notes."""
    with validity_notes() as outside:
        result = work()
    recorded: Any = result.recorded  # type: ignore[attr-defined]
    fresh = [n for n in outside if not any(said in n for said in recorded.notes)]
    notes = tuple(dict.fromkeys([*fields.assumed, *fresh, *recorded.notes]))
    return replace(result, recorded=replace(recorded, notes=notes))  # type: ignore[type-var]
