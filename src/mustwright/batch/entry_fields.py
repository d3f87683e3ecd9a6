"""What did the maker type about a batch: fields of a form, an option or a column, read alike."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime, timedelta, tzinfo

from mustwright.batch.allowed_additions import may_go_in
from mustwright.batch.clock import AHEAD, refuse_future
from mustwright.batch.codec import moment_from
from mustwright.batch.entries import (
    EVENTS,
    HYDROMETER,
    METER,
    Event,
    FeedGiven,
    Given,
    Note,
    Payload,
    Reading,
    what_data,
    what_from,
)
from mustwright.batch.finishing_fields import step_retyped
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.plan import BatchPlan
from mustwright.errors import InputError
from mustwright.figure import typed
from mustwright.planning.gravity_scales import gravity_figure
from mustwright.texts import say
from mustwright.units import parse_quantity, temperature_c, volume_l

_CLOCK = re.compile(r"(\d{1,2})[:.h](\d{2})")
_DECIMAL_COMMA = re.compile(r"[01],\d{3}")
READING_FIELDS = (
    "gravity", "instrument", "calibration", "sample", "temperature", "ph", "ph_by", "note",
)  # fmt: skip
Fields = Mapping[str, str | None]


def moment_typed(text: str | None, now: datetime, zone: tzinfo, field: str = "at") -> datetime:
    """When: nothing, "now" ("jetzt"), "18:30" (the last one), "2031-05-01 18:30", ISO with a zone.

    Raises
    ------
    InputError
        When it cannot be read or lies ahead.

    Examples
    --------
    >>> from datetime import UTC
    >>> moment_typed("18:30", datetime(2031, 5, 1, 9, tzinfo=UTC), UTC).isoformat()
    '2031-04-30T18:30:00+00:00'
    """
    word = (text or "").strip()
    if word in ("", "now", "jetzt"):
        return now
    here = now.astimezone(zone)
    if match := _CLOCK.fullmatch(word):
        hour, minute = int(match[1]), int(match[2])
        if hour > 23 or minute > 59:
            raise InputError(field, say("needs a time such as '18:30'"), text)
        moment = here.replace(hour=hour, minute=minute, second=0, microsecond=0)
        return moment if moment <= here + AHEAD else moment - timedelta(days=1)
    moment = _dated(word, zone, field, text)
    refuse_future(field, moment, now, text)
    return moment


def _dated(word: str, zone: tzinfo, field: str, text: object) -> datetime:
    try:
        moment = datetime.fromisoformat(word)
    except ValueError:
        needs = say("needs 'now', '18:30', '2031-05-01 18:30' or a time with its zone")
        raise InputError(field, needs, text) from None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone)
    return moment_from(moment.isoformat(), field)


def reading_typed(fields: Fields) -> Reading:
    """A reading from its typed fields (`READING_FIELDS`); empty ones are left out.

    Examples
    --------
    >>> reading_typed({"gravity": "1.062", "temperature": "68 F"}).temperature_c
    20.0
    """
    _only(fields, READING_FIELDS)
    instrument = (_word(fields, "instrument") or HYDROMETER).lower()
    gravity, brix = _gravity(_word(fields, "gravity"), instrument)
    return Reading(
        gravity=gravity,
        brix=brix,
        instrument=instrument,
        calibration_c=_celsius(fields, "calibration") or 20.0,
        sample_c=_celsius(fields, "sample"),
        temperature_c=_celsius(fields, "temperature"),
        ph=_number(fields, "ph"),
        ph_by=(_word(fields, "ph_by") or METER).lower(),
        note=_word(fields, "note") or "",
    )


def _gravity(text: str | None, instrument: str) -> tuple[float | None, float | None]:
    """Gravity as read, or Brix where Brix was typed or a refractometer read."""
    if text is None:
        return None, None
    if _DECIMAL_COMMA.fullmatch(text):  # 1,062: as thousands or as a decimal, it means the same
        text = text.replace(",", ".")
    quantity = parse_quantity(text, "gravity")
    if quantity.dimension not in ("gravity", "number"):
        raise InputError("gravity", say("needs a gravity such as '1.062' or '15 Bx'"), text)
    if quantity.unit in ("Brix", "Plato"):
        return None, quantity.value
    if instrument == "refractometer":
        if quantity.dimension == "number" and quantity.value > 1.3:
            return None, quantity.value
        raise InputError("gravity", say("needs Brix from a refractometer, such as '15 Bx'"), text)
    if quantity.dimension == "number":
        return _plain_number(quantity.value, text)
    return float(gravity_figure(typed(quantity.value, quantity.unit), "gravity")), None


def _plain_number(value: float, text: str) -> tuple[float | None, float | None]:
    if 950 <= value <= 1250 and value == int(value):  # 1062 for 1.062
        return value / 1000, None
    if value > 2:
        raise InputError("gravity", say("needs its scale, such as '15 Bx', or a gravity"), text)
    return value, None


def feed_typed(fields: Fields, plan: BatchPlan | None) -> FeedGiven:
    """A feed from ``items`` ("dap=4.2 g, autolysed_yeast 3 g"), ``feed``, ``skipped``, ``note``.

    Without items, those of the planned feed are taken as given.
    """
    _only(fields, ("items", "feed", "skipped", "note"))
    key = _word(fields, "feed")
    planned = plan.feed(key) if plan is not None and key is not None else None
    if key is not None and planned is None:
        known = ", ".join(f.key for f in plan.feeds) if plan else "none"
        raise InputError("feed", say("needs the key of a planned feed ({known})", known=known), key)
    skipped = (_word(fields, "skipped") or "").lower() in ("1", "true", "yes", "on")
    words = _word(fields, "items")
    items = tuple(_given(w, plan) for w in re.split(r"[;,\n]", words or "") if w.strip())
    if not items and planned is not None and not skipped:
        items = tuple(Given(d.nutrient, d.grams, d.name) for d in planned.doses)
    return FeedGiven(items, key, skipped, _word(fields, "note") or "")


def _given(text: str, plan: BatchPlan | None) -> Given:
    match = re.fullmatch(r"\s*([a-z][a-z0-9_-]*)\s*[=: ]\s*(.+?)\s*", text)
    if not match:
        raise InputError("items", say("needs nutrient and mass, such as 'dap=4.2 g'"), text)
    nutrient, amount = match[1], match[2]
    quantity = parse_quantity(amount, "items")
    if quantity.dimension not in ("mass", "number") or not quantity.value > 0:
        raise InputError("items", say("needs a mass above zero, such as '4.2 g'"), text)
    grams = quantity.value * (1000 if quantity.dimension == "mass" else 1)
    known = may_go_in(plan) if plan is not None else {nutrient: ""}
    if nutrient not in known:
        needs = say(
            "needs a nutrient of the plan's shelf or a carbonate ({known})", known=", ".join(known)
        )
        raise InputError("items", needs, nutrient)
    return Given(nutrient, round(grams, 6), known[nutrient])


def event_typed(fields: Fields) -> Event:
    """An event from ``what``, ``temperature``, ``litres`` and ``note``."""
    _only(fields, ("what", "temperature", "litres", "note"))
    what = (_word(fields, "what") or "").lower().replace(" ", "_").replace("-", "_")
    if what not in EVENTS:
        raise InputError(
            "what", say("needs one of {known}", known=", ".join(EVENTS)), fields.get("what") or ""
        )
    litres = _word(fields, "litres")
    return Event(
        what,
        _celsius(fields, "temperature"),
        None if litres is None else volume_l(litres, "litres")[0],
        _word(fields, "note") or "",
    )


def what_typed(kind: str, fields: Fields, plan: BatchPlan | None) -> Payload:
    """An entry of any kind that can be typed: reading, feed, event or note."""
    if kind == Reading.kind:
        return reading_typed(fields)
    if kind == FeedGiven.kind:
        return feed_typed(fields, plan)
    if kind == Event.kind:
        return event_typed(fields)
    if kind == Note.kind:
        _only(fields, ("text",))
        return Note(_word(fields, "text") or "")
    raise InputError("kind", say("needs one of reading, feed, event, note"), kind)


def retyped(what: Payload, changes: Fields) -> Payload:
    """An entry with some fields retyped, read the way they were read first.

    Examples
    --------
    >>> retyped(Reading(gravity=1.26 - 0.2), {"gravity": "1.062"}).gravity
    1.062
    """
    if not changes:
        raise InputError("changes", say("needs a field to change"), "none")
    if isinstance(what, StepDone):
        return step_retyped(what, changes)
    data = what_data(what)
    for name, value in changes.items():
        data.update(_new_values(what, name, value or "", tuple(data)))
    made: Payload = what_from(what.kind, data, what.kind)
    return made


def _new_values(
    what: Payload, name: str, value: str, known: tuple[str, ...]
) -> Mapping[str, object]:
    short = name.removesuffix("_c")
    if isinstance(what, Reading) and short in READING_FIELDS:
        return _new_reading_values(what, short, value)
    if isinstance(what, FeedGiven) and name == "items":
        return {"items": what_data(feed_typed({"items": value}, None))["items"]}
    if isinstance(what, Event) and short in ("temperature", "litres"):
        event = event_typed({"what": what.what, short: value})
        return (
            {"temperature_c": event.temperature_c}
            if short == "temperature"
            else {"litres": event.litres}
        )
    if name not in known:
        raise InputError(name, say("is not known; known: {known}", known=", ".join(known)), value)
    if isinstance(what, FeedGiven) and name == "skipped":
        return {"skipped": value.lower() in ("1", "true", "yes", "on")}
    return {name: value if value or name in ("note", "caption", "text") else None}


def _new_reading_values(what: Reading, short: str, value: str) -> Mapping[str, object]:
    if short in ("instrument", "note"):
        return {short: value}
    if short == "ph_by":
        return {short: value.strip().lower() or METER}
    if short == "gravity":
        gravity, brix = _gravity(value or None, what.instrument)
        return {"gravity": gravity, "brix": brix}
    if short == "ph":
        return {"ph": _number({"ph": value}, "ph")}
    celsius = _celsius({short: value}, short)
    return {f"{short}_c": 20.0 if short == "calibration" and celsius is None else celsius}


def _word(fields: Fields, name: str) -> str | None:
    value = (fields.get(name) or "").strip()
    return value or None


def _celsius(fields: Fields, name: str) -> float | None:
    word = _word(fields, name)
    return None if word is None else round(temperature_c(word, name)[0], 3)


def _number(fields: Fields, name: str) -> float | None:
    word = _word(fields, name)
    if word is None:
        return None
    quantity = parse_quantity(word, name)
    if quantity.dimension != "number":
        raise InputError(name, say("needs a plain number"), word)
    return quantity.value


def _only(fields: Fields, known: tuple[str, ...]) -> None:
    for name in fields:
        if name not in known:
            raise InputError(
                name,
                say("is not known; known: {known}", known=", ".join(known)),
                fields[name] or "",
            )
