"""What was typed about a batch: small forms into entries, and entries into fields."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime, tzinfo

from mustwright.batch.allowed_additions import may_go_in
from mustwright.batch.entries import (
    EVENTS,
    HYDROMETER,
    METER,
    REFRACTOMETER,
    SENSOR,
    STRIP,
    Event,
    FeedGiven,
    Given,
    Note,
    Payload,
    Photo,
    Reading,
)
from mustwright.batch.entry_fields import event_typed, moment_typed, reading_typed, retyped
from mustwright.batch.finishing_fields import step_fields, step_retyped
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.plan import BatchPlan
from mustwright.errors import InputError
from mustwright.must.gravity_text import gravity_sign, scale, with_scale
from mustwright.texts import say
from mustwright.unit_hints import shown_temperature
from mustwright.unit_system import VOLUMES, UnitSystem
from mustwright.units import in_unit, parse_quantity
from mustwright.web.forms.typed import TypedForm

HYDROMETER_BRIX = "hydrometer brix"
INSTRUMENT_OPTIONS = (
    (HYDROMETER, say("hydrometer, gravity")),
    (HYDROMETER_BRIX, say("hydrometer, Brix")),
    (REFRACTOMETER, say("refractometer, Brix")),
    (SENSOR, say("device in the vessel")),
)
PH_OPTIONS = ((METER, say("a meter")), (STRIP, say("a paper strip")))
EVENT_OPTIONS = tuple(EVENTS.items())
UNIT_OPTIONS = (("C", "°C"), ("F", "°F"))
_PLAIN = re.compile(r"[+-]?\d+(?:[.,]\d+)?")
GRAMS = "grams-"


# Reading --------------------------------------------------------------------------------------


def reading_fields(typed: TypedForm) -> dict[str, str]:
    """The fields of a reading with their units written out, as `reading_typed` takes them."""
    instrument = typed.get("instrument") or HYDROMETER
    gravity = typed.get("gravity").strip()
    if instrument == HYDROMETER_BRIX:
        gravity = with_scale(gravity, "gravity", UnitSystem(gravity="Brix"))
    elif instrument == SENSOR:
        gravity = with_scale(gravity, "gravity")
    unit = typed.get("unit", "C")
    return {
        "gravity": gravity,
        "instrument": instrument.split()[0],
        "calibration": _degrees(typed.get("calibration"), unit),
        "sample": _degrees(typed.get("sample"), unit),
        "temperature": _degrees(typed.get("temperature"), unit),
        "ph": typed.get("ph"),
        "ph_by": typed.get("ph_by"),
        "note": typed.get("note"),
    }


def _degrees(text: str, unit: str) -> str:
    text = text.strip()
    return f"{text} {unit}" if unit in ("C", "F") and _PLAIN.fullmatch(text) else text


def reading_of(typed: TypedForm) -> Reading:
    """The reading a form stands for.

    Raises
    ------
    InputError
    """
    return reading_typed(reading_fields(typed))


def usual_instrument(last: Reading | None) -> str:
    """What the next reading is taken with: as the last one; a hydrometer on the scale chosen."""
    by = instrument_of(last)
    if by not in (HYDROMETER, HYDROMETER_BRIX) or not gravity_sign():
        return by
    return HYDROMETER_BRIX


def instrument_options() -> tuple[tuple[str, str], ...]:
    """The instruments to choose from, each with the scale that a bare number is read in."""
    if scale() != "Plato":
        return INSTRUMENT_OPTIONS
    plato = say("hydrometer, Plato")
    return tuple((k, plato if k == HYDROMETER_BRIX else words) for k, words in INSTRUMENT_OPTIONS)


def gravity_label(instrument: str) -> str:
    """What the field of a gravity is called: with the scale of a bare number, if one is chosen."""
    sign = gravity_sign()
    named = {HYDROMETER: say("Gravity, SG"), REFRACTOMETER: say("Refractometer, Brix")}
    return named.get(instrument, say("Gravity, {sign}", sign=sign)) if sign else say("Gravity")


def instrument_of(what: Reading | None) -> str:
    """The choice of instrument that a reading was taken with."""
    if what is None or not what.has_gravity:
        return HYDROMETER
    return HYDROMETER_BRIX if what.instrument == HYDROMETER and what.brix else what.instrument


# Feed -----------------------------------------------------------------------------------------


def feed_of(typed: TypedForm, plan: BatchPlan, names: Mapping[str, str] | None = None) -> FeedGiven:
    """The feed a form stands for: grams by nutrient, and the planned feed they are for.

    Parameters
    ----------
    names : mapping of str to str or None
        Nutrients that may be given: id and name; those of the plan and carbonates when None.

    Raises
    ------
    InputError
        With the field of the form (``grams-dap``).
    """
    names = may_go_in(plan) if names is None else names
    key = typed.get("feed").strip() or None
    if key is not None and plan.feed(key) is None:
        raise InputError("feed", say("needs a feed of the plan in force"), key)
    if typed.get("do") == "skip":
        return FeedGiven((), key, True, typed.get("note").strip())
    items = [
        Given(nutrient, grams, name)
        for nutrient, name in names.items()
        if (grams := _grams(typed, nutrient)) > 0
    ]
    return FeedGiven(tuple(items), key, False, typed.get("note").strip())


def _grams(typed: TypedForm, nutrient: str) -> float:
    field = f"{GRAMS}{nutrient}"
    text = typed.get(field).strip()
    if not text:
        return 0.0
    quantity = parse_quantity(text, field)
    if quantity.dimension not in ("mass", "number") or quantity.value < 0:
        raise InputError(field, say("needs a mass such as '4.2 g'"), text)
    grams = quantity.value * (1000 if quantity.dimension == "mass" else 1)
    if grams > 100_000:
        raise InputError(field, say("needs at most 100 kg"), text)
    return round(grams, 6)


# Event ----------------------------------------------------------------------------------------


def event_of(typed: TypedForm) -> Event:
    """The event a form stands for."""
    litres = typed.get("litres").strip()
    return event_typed(
        {
            "what": typed.get("what"),
            "temperature": _degrees(typed.get("temperature"), typed.get("unit", "C")),
            "litres": _litres(litres, typed.get("volume_unit")),
            "note": typed.get("note"),
        }
    )


# An entry already written ---------------------------------------------------------------------


def _litres(text: str, unit: str) -> str:
    """A volume with the unit of its field; litres where the form names none."""
    if not _PLAIN.fullmatch(text):
        return text
    return f"{text} {unit if unit in VOLUMES else 'L'}"


def typed_from(
    what: Payload, at: datetime, unit: str, zone: tzinfo, volume_unit: str = "L"
) -> TypedForm:
    """The form an entry fills."""
    fields = {
        "at": at.astimezone(zone).strftime("%Y-%m-%dT%H:%M"),
        "unit": unit,
        "volume_unit": volume_unit,
    }
    if isinstance(what, Reading):
        brix = "" if what.brix is None else f"{what.brix:g}"
        fields |= {
            "gravity": brix if what.gravity is None else f"{what.gravity:.4f}".rstrip("0"),
            "instrument": instrument_of(what),
            "calibration": shown_temperature(what.calibration_c, unit),
            "sample": shown_temperature(what.sample_c, unit),
            "temperature": shown_temperature(what.temperature_c, unit),
            "ph": "" if what.ph is None else f"{what.ph:g}",
            "ph_by": what.ph_by,
            "note": what.note,
        }
    elif isinstance(what, FeedGiven):
        fields |= {"feed": what.feed or "", "note": what.note, "do": "skip" if what.skipped else ""}
        fields |= {f"{GRAMS}{one.nutrient}": f"{one.grams:g}" for one in what.items}
    elif isinstance(what, Event):
        fields |= {
            "what": what.what,
            "temperature": shown_temperature(what.temperature_c, unit),
            "litres": "" if what.litres is None else f"{in_unit(what.litres, volume_unit):g}",
            "note": what.note,
        }
    elif isinstance(what, StepDone):
        fields |= {name: text for name, (_, text) in step_fields(what).items()}
    elif isinstance(what, Note):
        fields["text"] = what.text
    elif isinstance(what, Photo):
        fields["caption"] = what.caption
    return TypedForm(fields)


def step_labels(what: object) -> list[tuple[str, str]]:
    """The fields for correcting a finishing step, with their labels."""
    if not isinstance(what, StepDone):
        return []
    return [(name, label) for name, (label, _) in step_fields(what).items()]


def corrected(what: Payload, before: TypedForm, typed: TypedForm, plan: BatchPlan) -> Payload:
    """The entry with what the form changed; fields left alone keep every digit they had.

    Raises
    ------
    InputError
    """
    changed = {
        name
        for name, value in typed.fields.items()
        if value.strip() != before.get(name).strip() and name in before.fields | typed.fields
    }
    if isinstance(what, StepDone):
        known = step_fields(what)
        return step_retyped(what, {n: typed.get(n) for n in known if n in changed})
    if isinstance(what, FeedGiven):
        return _corrected_feed(what, changed, typed, plan)
    if isinstance(what, Reading):
        now = reading_fields(typed)
        if "instrument" in changed and typed.get("gravity").strip():
            changed.add("gravity")
    elif isinstance(what, Event):
        event = event_of(typed)
        now = {"what": event.what, "note": typed.get("note")}
        now["litres"] = "" if event.litres is None else f"{event.litres!r} L"
        now["temperature"] = _degrees(typed.get("temperature"), typed.get("unit", "C"))
    else:
        now = dict(typed.fields)
    names = ("gravity", "instrument", "calibration", "sample", "temperature", "ph", "ph_by",
             "note", "what", "litres", "text", "caption")  # fmt: skip
    changes = {name: now[name] for name in names if name in changed and name in now}
    if isinstance(what, Reading) and changes.keys() & {"gravity", "instrument"}:
        return _corrected_gravity(what, changes, typed)
    return retyped(what, changes) if changes else what


def _corrected_gravity(what: Reading, changes: dict[str, str], typed: TypedForm) -> Payload:
    """Gravity and instrument are read together; everything else as `retyped` does."""
    fresh = reading_of(typed)
    rest = {k: v for k, v in changes.items() if k not in ("gravity", "instrument")}
    base = retyped(what, rest) if rest else what
    assert isinstance(base, Reading)
    return Reading(
        fresh.gravity, fresh.brix, fresh.instrument, base.calibration_c, base.sample_c,
        base.temperature_c, base.ph, base.note, base.ph_by,
    )  # fmt: skip


def _corrected_feed(
    what: FeedGiven, changed: set[str], typed: TypedForm, plan: BatchPlan
) -> FeedGiven:
    if not changed:
        return what
    names = may_go_in(plan) | {i.nutrient: i.name for i in what.items}
    kept = {i.nutrient: i for i in what.items}
    made = feed_of(typed, plan, names)
    items = tuple(
        kept[i.nutrient] if i.nutrient in kept and f"{GRAMS}{i.nutrient}" not in changed else i
        for i in made.items
    )
    return FeedGiven(items, made.feed, made.skipped, made.note)


def moment_of(typed: TypedForm, now: datetime, zone: tzinfo) -> datetime:
    """When, as typed; empty means now."""
    return moment_typed(typed.get("at"), now, zone)


def field_of(name: str) -> str:
    """The form field that shows an entry's field."""
    if name.startswith("used."):
        return name
    plain = name.rpartition(".")[2].removesuffix("_c")
    return {"brix": "gravity", "reading": "gravity", "items": "amounts", "skipped": "feed"}.get(
        plain, plain
    )
