"""When does a feed fall due: triggers as data, read, put in words and placed in time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from mustwright.errors import InputError
from mustwright.figure import Figure
from mustwright.kinetics.pace import Pace
from mustwright.must.course import USUAL_SHARE, course_of
from mustwright.must.gravity import brix_from_gravity, gravity_from_brix
from mustwright.units import parse_quantity

THIRD = 1 / 3  # of the sugar gone: the break after which feeds do little (common practice)
KINDS = ("pitch", "after_pitch", "onset", "after_onset", "sugar_used", "gravity_drop", "first_of")
_CLOCK_WORDS = {
    "pitch": "at pitch, once the yeast is in",
    "after_pitch": "{hours} after pitch",
    "onset": "at onset: first steady bubbles or the first fall in gravity",
    "after_onset": "{hours} after onset",
}
_FORM = (
    "needs a trigger: 'pitch', 'onset', or a table with one of after_pitch = \"24 h\", "
    'after_onset = "12 h", sugar_used = 0.33, gravity_drop = "0.030", brix_drop = "2.5 Bx", '
    "first_of = [ ... ]"
)


@dataclass(frozen=True)
class Trigger:
    """One moment of a ferment.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    amount : float
        Hours, fraction of sugar used, or fall in gravity points as Brix, by kind.
    either : tuple of Trigger
        For ``first_of``: whichever comes first.
    """

    kind: str
    amount: float = 0.0
    either: tuple[Trigger, ...] = field(default=())

    def words(self, brix: float, fermentable_share: float = USUAL_SHARE) -> str:
        """The trigger in plain words, with the gravity that shows it in such a must."""
        if self.kind == "sugar_used":
            return _sugar_words(self, brix, fermentable_share)
        if self.kind == "gravity_drop":
            return _drop_words(self, brix, fermentable_share)
        if self.kind == "first_of":
            either = [one.words(brix, fermentable_share) for one in self.either]
            return " or ".join(either) + ", whichever comes first"
        return _CLOCK_WORDS[self.kind].format(hours=hours_words(self.amount))

    def expected(self, pace: Pace) -> Figure:
        """Hours after pitch when it is expected, with its range [h]."""
        if self.kind == "first_of":
            return min((t.expected(pace) for t in self.either), key=lambda f: f.value)
        if self.kind == "onset":
            return pace.hours_to_onset()
        if self.kind == "after_onset":
            onset = pace.hours_to_onset()
            return _later(onset, self.amount)
        if self.kind == "sugar_used":
            return pace.hours_to_sugar_used(self.amount)
        if self.kind == "gravity_drop":
            return pace.hours_to_brix_drop(self.amount)
        return Figure(self.amount, "h", "hours after pitch, by the clock", "the protocol")

    def sugar_used(self, pace: Pace) -> float:
        """Fraction of the sugar expected to be used when it falls due."""
        if self.kind == "sugar_used":
            return self.amount
        if self.kind == "gravity_drop":
            return pace.used_at_brix_fallen(self.amount)
        if self.kind == "first_of":
            return min(t.sugar_used(pace) for t in self.either)
        return pace.sugar_used_at(self.expected(pace).value)

    def as_data(self) -> object:
        """The trigger as it is written in a protocol file."""
        if self.kind in ("pitch", "onset"):
            return self.kind
        if self.kind == "first_of":
            return {"first_of": [t.as_data() for t in self.either]}
        if self.kind == "sugar_used":
            return {"sugar_used": self.amount}
        if self.kind == "gravity_drop":
            return {"brix_drop": f"{self.amount:g} Bx"}
        return {self.kind: f"{self.amount:g} h"}


def _later(start: Figure, hours: float) -> Figure:
    low = None if start.low is None else start.low + hours
    high = None if start.high is None else start.high + hours
    inputs: dict[str, Figure | float | str] = {"onset": start, "hours": hours}
    return Figure(start.value + hours, "h", "onset + hours", start.source, inputs, low, high)


def _sugar_words(trigger: Trigger, brix: float, share: float) -> str:
    part = "one third" if abs(trigger.amount - THIRD) < 0.01 else f"{100 * trigger.amount:.0f} %"
    gravity = float(course_of(round(brix, 2), round(share, 3)).gravity_at(trigger.amount))
    return f"when {part} of the sugar is gone (gravity about {gravity:.3f})"


def _drop_words(trigger: Trigger, brix: float, share: float) -> str:
    fallen = f"when it has dropped {trigger.amount:.3g} Brix"
    if trigger.amount > course_of(round(brix, 2), round(share, 3)).brix_fallen_at(1.0):
        return f"{fallen} (this must has no sugar left by then)"
    gravity = float(gravity_from_brix(brix - trigger.amount))
    return f"{fallen} (gravity about {gravity:.3f})"


def hours_words(hours: float) -> str:
    """A span of hours as people say it."""
    if hours >= 48 and abs(hours / 24 - round(hours / 24)) < 0.01:
        return f"{hours / 24:.0f} days"
    return f"{hours:g} hours" if hours != 1 else "1 hour"


def read_trigger(value: object, where: str) -> Trigger:
    """A trigger from a protocol file.

    Raises
    ------
    InputError
        Naming the field and the accepted forms.
    """
    if value in ("pitch", "onset"):
        return Trigger(str(value))
    if not isinstance(value, Mapping) or len(value) != 1:
        raise InputError(where, _FORM, value)
    key, content = next(iter(value.items()))
    if key == "first_of":
        return _read_first_of(content, f"{where}.first_of")
    if key in ("after_pitch", "after_onset"):
        return Trigger(key, _hours(content, f"{where}.{key}"))
    if key == "sugar_used":
        return Trigger(key, _fraction(content, f"{where}.{key}"))
    if key in ("gravity_drop", "brix_drop"):
        return Trigger("gravity_drop", _drop(content, f"{where}.{key}"))
    raise InputError(where, _FORM, value)


def _read_first_of(content: object, where: str) -> Trigger:
    if not isinstance(content, Sequence) or isinstance(content, str) or not 2 <= len(content) <= 4:
        raise InputError(where, "needs a list of two to four triggers", content)
    either = tuple(read_trigger(one, f"{where}[{i}]") for i, one in enumerate(content))
    if any(one.kind == "first_of" for one in either):
        raise InputError(where, "needs plain triggers, not another first_of", content)
    return Trigger("first_of", 0.0, either)


def _hours(content: object, where: str) -> float:
    quantity = parse_quantity(content, where)
    if quantity.dimension not in ("time", "number") or not 0 <= quantity.value <= 1000:
        raise InputError(where, "needs a time from 0 to 1000 h such as '24 h' or '2 days'", content)
    return quantity.value


def _fraction(content: object, where: str) -> float:
    number = parse_quantity(content, where)
    value = number.value / 100 if number.dimension == "alcohol" else number.value
    if number.dimension not in ("number", "alcohol") or not 0 < value < 1:
        raise InputError(where, "needs a fraction of the sugar above 0 and below 1", content)
    return value


def _drop(content: object, where: str) -> float:
    quantity = parse_quantity(content, where)
    if quantity.dimension == "gravity" and quantity.unit in ("Brix", "Plato"):
        value = quantity.value
    elif quantity.dimension == "number" or quantity.unit == "SG":
        value = float(brix_from_gravity(1.080) - brix_from_gravity(1.080 - quantity.value))
    else:
        value = -1.0
    if not 0 < value <= 40:
        raise InputError(where, "needs a fall such as '0.030' in gravity or '2.5 Bx'", content)
    return value
