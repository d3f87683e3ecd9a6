"""When does a feed fall due: triggers as data, read, put in words and placed in time."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from mustwright.errors import InputError
from mustwright.figure import Figure
from mustwright.kinetics.pace import Pace
from mustwright.must.course import USUAL_SHARE, course_of
from mustwright.must.gravity import brix_from_gravity, gravity_from_brix
from mustwright.must.gravity_text import brix_sign, gravity_text
from mustwright.texts import Text, join, literal, say
from mustwright.units import parse_quantity

_THIRD_SHARE = 100 / 3  # as such, in percent, where a third is meant
FIRST = ", whichever comes first"
_AGAIN_SPAN = re.compile(r"(?P<count>[\d.e+]+) (?P<unit>hours?|days) after (?P<start>pitch|onset)")
_AGAIN_SUGAR = re.compile(
    r"when (?:(?P<third>one third)|(?P<percent>[\d.]+) %) of the sugar is gone "
    r"\(gravity about (?P<gravity>[^)]+)\)"
)
_AGAIN_DROP = re.compile(
    r"when it has dropped (?P<brix>[\d.e+-]+) (?:Brix|°Bx|°P) "
    r"\((?:this must has no sugar left by then|gravity about (?P<gravity>[^)]+))\)"
)
_AGAIN_ABOUT = re.compile(r"once about (\d+)% of the sugar is gone")
THIRD = 1 / 3  # of the sugar gone: the break after which feeds do little (common practice)
KINDS = ("pitch", "after_pitch", "onset", "after_onset", "sugar_used", "gravity_drop", "first_of")
_CLOCK_WORDS = {
    "pitch": say("at pitch, once the yeast is in"),
    "after_pitch": literal("{hours} after pitch"),
    "onset": say("at onset: first steady bubbles or the first fall in gravity"),
    "after_onset": literal("{hours} after onset"),
}
_FORM = say(
    "needs a trigger: 'pitch', 'onset', or a table with one of after_pitch = \"24 "
    'h", after_onset = "12 h", sugar_used = 0.33, gravity_drop = "0.030", '
    'brix_drop = "2.5 Bx", first_of = [ ... ]'
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
            return say("{moments}, whichever comes first", moments=join(say(" or "), either))
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
        return Figure(self.amount, "h", say("hours after pitch, by the clock"), say("the protocol"))

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
    return Figure(start.value + hours, "h", say("onset + hours"), start.source, inputs, low, high)


def said_again(words: str) -> str:
    """A trigger in words as a plan kept them: a text again, its gravity on the scale chosen now.

    Examples
    --------
    >>> said_again("when it has dropped 5 °Bx (gravity about 19.0 °Bx)")
    'when it has dropped 5 Brix (gravity about 1.079)'
    """

    moments, first, _ = words.partition(FIRST)
    if first:
        return _first_of([said_again(one) for one in moments.split(" or ")])
    known = {str(text): text for text in _CLOCK_WORDS.values()}
    if words in known:
        return known[words]
    if found := _AGAIN_SPAN.fullmatch(words):
        span = float(found["count"])
        of = _CLOCK_WORDS[f"after_{found['start']}"]
        return of.format(hours=hours_words(span * 24 if found["unit"].startswith("day") else span))
    if found := _AGAIN_SUGAR.fullmatch(words):
        return _when_gone(
            _THIRD_SHARE if found["third"] else float(found["percent"]), _again(found)
        )
    if found := _AGAIN_DROP.fullmatch(words):
        return _when_dropped(float(found["brix"]), _again(found) if found["gravity"] else None)
    if found := _AGAIN_ABOUT.fullmatch(words):
        return say("once about {at:.0%} of the sugar is gone", at=float(found[1]) / 100)
    return words if isinstance(words, Text) else literal(words)


def _again(found: re.Match[str]) -> float:
    """The gravity in a kept trigger [-]."""
    kept = parse_quantity(found["gravity"], "gravity")
    of_brix = kept.unit in ("Brix", "Plato")
    return float(gravity_from_brix(kept.value)) if of_brix else kept.value


def _first_of(either: Sequence[str]) -> str:
    return say("{moments}, whichever comes first", moments=join(say(" or "), either))


def _sugar_words(trigger: Trigger, brix: float, share: float) -> str:
    third = abs(trigger.amount - THIRD) < 0.01
    gravity = float(course_of(round(brix, 2), round(share, 3)).gravity_at(trigger.amount))
    return _when_gone(_THIRD_SHARE if third else 100 * trigger.amount, gravity)


def _when_gone(percent: float, gravity: float) -> str:
    if percent == _THIRD_SHARE:
        return say(
            "when one third of the sugar is gone (gravity about {gravity})",
            gravity=gravity_text(gravity),
        )
    return say(
        "when {percent:.0f} % of the sugar is gone (gravity about {gravity})",
        percent=percent,
        gravity=gravity_text(gravity),
    )


def _drop_words(trigger: Trigger, brix: float, share: float) -> str:
    left = trigger.amount <= course_of(round(brix, 2), round(share, 3)).brix_fallen_at(1.0)
    gravity = float(gravity_from_brix(brix - trigger.amount)) if left else None
    return _when_dropped(trigger.amount, gravity)


def _when_dropped(brix: float, gravity: float | None) -> str:
    if gravity is None:
        return say(
            "when it has dropped {brix:.3g} {sign} (this must has no sugar left by then)",
            brix=brix,
            sign=brix_sign(),
        )
    return say(
        "when it has dropped {brix:.3g} {sign} (gravity about {gravity})",
        brix=brix,
        sign=brix_sign(),
        gravity=gravity_text(gravity),
    )


def hours_words(hours: float) -> str:
    """A span of hours as people say it."""
    if hours >= 48 and abs(hours / 24 - round(hours / 24)) < 0.01:
        return say("{days:.0f} days", days=hours / 24)
    return say("{hours:g} hours", hours=hours) if hours != 1 else say("1 hour")


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
        raise InputError(where, say("needs a list of two to four triggers"), content)
    either = tuple(read_trigger(one, f"{where}[{i}]") for i, one in enumerate(content))
    if any(one.kind == "first_of" for one in either):
        raise InputError(where, say("needs plain triggers, not another first_of"), content)
    return Trigger("first_of", 0.0, either)


def _hours(content: object, where: str) -> float:
    quantity = parse_quantity(content, where)
    if quantity.dimension not in ("time", "number") or not 0 <= quantity.value <= 1000:
        raise InputError(
            where, say("needs a time from 0 to 1000 h such as '24 h' or '2 days'"), content
        )
    return quantity.value


def _fraction(content: object, where: str) -> float:
    number = parse_quantity(content, where)
    value = number.value / 100 if number.dimension == "alcohol" else number.value
    if number.dimension not in ("number", "alcohol") or not 0 < value < 1:
        raise InputError(where, say("needs a fraction of the sugar above 0 and below 1"), content)
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
        raise InputError(where, say("needs a fall such as '0.030' in gravity or '2.5 Bx'"), content)
    return value
