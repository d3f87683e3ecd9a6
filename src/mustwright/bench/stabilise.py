"""Typed fields into the steps that keep a mead as it is: stable, rack, sulfite, sorbate."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import date

from mustwright.bench.fields import TypedFields, gravity_of, run
from mustwright.errors import InputError
from mustwright.finishing.movement import GravityReading
from mustwright.finishing.racking import RackAsk, Racking, rack
from mustwright.finishing.sorbate import SorbateAsk, SorbateDose, sorbate_dose
from mustwright.finishing.stability import (
    Stability,
    StabilityAsk,
    judge_stability,
)
from mustwright.finishing.sulfite import SulfiteDose, sulfite_dose
from mustwright.finishing.sulfite_amount import SulfiteAsk
from mustwright.units import parse_quantity
from mustwright.yeast.pitch import strain_called

STABLE_FIELDS = (
    "reading", "error", "original", "residual_sugar", "tolerance", "yeast", "alcohol", "nitrogen",
    "sterile",
)  # fmt: skip
RACK_FIELDS = (
    "volume", "gravity", "alcohol", "lees", "by", "lees_depth", "diameter", "vessel", "headspace",
    "top_up", "top_gravity", "top_alcohol", "honey", "moisture",
)  # fmt: skip
SULFITE_FIELDS = (
    "volume", "ph", "alcohol", "temperature", "molecular", "free", "total", "binding",
    "residual_sugar", "ionic_strength", "salt", "strength", "stock", "tablet", "scale", "profile",
)  # fmt: skip
SORBATE_FIELDS = (
    "volume", "alcohol", "ph", "molecular", "sorbic", "malolactic", "fermenting", "scale",
    "profile",
)  # fmt: skip
_DATED = re.compile(r"\s*(\d{4}-\d{2}-\d{2})[T,: ]\s*(.+)")
_ERROR = re.compile(r"\s*(?:±|\+/?-)\s*")
_COUNTED = re.compile(r"\s*([+-]?\d+(?:\.\d+)?\s*[a-zA-Z]*)\s*[:=,]\s*(.+)")


def stable(given: Mapping[str, object]) -> Stability:
    """Is it done and stable? Fields: `STABLE_FIELDS`.

    ``reading`` comes several times: ``2026-01-05 1.002`` or ``7 d: 1.002``. ``tolerance`` is a
    range such as ``12 to 14 %``; or ``yeast`` names a kind.
    """
    fields = TypedFields(given, STABLE_FIELDS)
    readings = [
        read_reading(one, f"reading {i}") for i, one in enumerate(fields.many("reading"), 1)
    ]
    if len({dated for dated, _ in readings}) > 1:
        raise InputError("reading", "needs all days as dates, or all as counts", "a mixture")
    low, high = _tolerance(fields)
    ask = StabilityAsk(
        [reading for _, reading in readings],
        fields.number("error"),
        fields.gravity("original"),
        fields.g_l("residual_sugar"),
        low,
        high,
        fields.alcohol(),
        fields.mg_l("nitrogen"),
        fields.flag("sterile"),
    )
    dated = any(is_date for is_date, _ in readings)
    return run(fields, lambda: _dated(judge_stability(ask), ask, dated))


def _dated(found: Stability, ask: StabilityAsk, dated: bool) -> Stability:
    """With the day of the next check as the readings count days."""
    day = max(r.day for r in ask.readings) + found.next_check_days.value
    if not dated:
        return replace(found, next_check=f"day {day:g}")
    if not 1 <= day <= date.max.toordinal():
        return found
    return replace(found, next_check=date.fromordinal(int(day)).isoformat())


def read_reading(text: object, name: str) -> tuple[bool, GravityReading]:
    """One reading, and whether its day is a date; perhaps with its error.

    Examples
    --------
    >>> read_reading("7 d: 1.002", "reading")
    (False, GravityReading(day=7.0, gravity=1.002, error=None))
    >>> read_reading("2026-01-05 1.002 ± 0.003", "reading")
    (True, GravityReading(day=739621.0, gravity=1.002, error=0.003))
    """
    such_as = "needs a day and a gravity such as '2026-01-05 1.002' or '7 d: 1.002'"
    if isinstance(text, (list, tuple)) and len(text) == 2:
        text = (
            f"{text[0]}: {text[1]}"
            if not _DATED.match(f"{text[0]} x")
            else " ".join(map(str, text))
        )
    if not isinstance(text, str):
        raise InputError(name, such_as, text)
    text, error = _with_error(text, name)
    dated = _DATED.fullmatch(text)
    if dated:
        try:
            day = float(date.fromisoformat(dated[1]).toordinal())
        except ValueError:
            raise InputError(name, such_as, text) from None
        return True, GravityReading(day, gravity_of(dated[2], name), error)
    counted = _COUNTED.fullmatch(text)
    if not counted:
        raise InputError(name, such_as, text)
    when = parse_quantity(counted[1], name)
    if when.dimension not in ("time", "number"):
        raise InputError(name, such_as, text)
    days = when.value / 24 if when.dimension == "time" else when.value
    return False, GravityReading(days, gravity_of(counted[2], name), error)


def _with_error(text: str, name: str) -> tuple[str, float | None]:
    """A reading without its error, and the error where one stands behind it."""
    parts = _ERROR.split(text)
    if len(parts) == 1:
        return text, None
    error = parse_quantity(parts[1], name) if len(parts) == 2 else None
    if error is None or error.dimension != "number":
        raise InputError(name, "needs one error behind the gravity, such as '± 0.003'", text)
    return parts[0], error.value


def _tolerance(fields: TypedFields) -> tuple[float | None, float | None]:
    if fields.has("tolerance"):
        return read_range(fields.raw("tolerance"), "tolerance", "alcohol")
    if fields.has("yeast"):
        figure = strain_called(fields.raw("yeast"), "yeast").alcohol_tolerance_pct
        fields.assumed.append("yeast: alcohol tolerance by kind, from memory; the label is better")
        low = figure.low if figure.low is not None else figure.value
        return low, figure.high if figure.high is not None else figure.value
    return None, None


def read_range(text: object, name: str, dimension: str) -> tuple[float, float]:
    """A value or a range such as ``12 to 14 %``; a bare number is in the base unit.

    Examples
    --------
    >>> read_range("12 to 14 %", "tolerance", "alcohol")
    (12.0, 14.0)
    """
    parts = re.split(r"\s*(?:\bto\b|\.\.)\s*", str(text).strip())
    if not 1 <= len(parts) <= 2:
        raise InputError(name, "needs a value or a range such as '12 to 14'", text)
    values = []
    for part in parts:
        if dimension == "gravity":
            values.append(gravity_of(part, name))
            continue
        quantity = parse_quantity(part, name)
        if quantity.dimension not in (dimension, "number"):
            raise InputError(name, f"needs {dimension}, or a bare number", text)
        values.append(quantity.value)
    return values[0], values[-1]


def rack_off(given: Mapping[str, object]) -> Racking:
    """Rack and top up. Fields: `RACK_FIELDS`."""
    fields = TypedFields(given, RACK_FIELDS)
    ask = RackAsk(
        fields.need_volume(),
        fields.gravity("gravity"),
        fields.alcohol(),
        fields.text("lees", "gross_plain"),
        fields.text("by", "siphon"),
        fields.centimetres("lees_depth"),
        fields.centimetres("diameter"),
        fields.volume("vessel"),
        fields.volume("headspace"),
        fields.text("top_up") or None,
        fields.gravity("top_gravity"),
        fields.alcohol("top_alcohol"),
        fields.ingredient("honey", "honey"),
    )
    return run(fields, lambda: rack(ask))


def sulfite(given: Mapping[str, object]) -> SulfiteDose:
    """Sulfite for a molecular target. Fields: `SULFITE_FIELDS`."""
    fields = TypedFields(given, SULFITE_FIELDS)
    ph = fields.number("ph")
    if ph is None:
        raise InputError("ph", "needs the pH of the mead, measured: no dose without it", None)
    temperature = fields.celsius("temperature")
    if temperature is None:
        temperature = 20.0
        fields.assumed.append("temperature: not typed, 20 C taken")
    molecular = fields.mg_l("molecular") if fields.has("molecular") else 0.8
    if not fields.has("molecular"):
        fields.assumed.append("molecular: not typed, 0.8 mg/L taken (common practice)")
    if "molecular: bare number read as mg/L" in fields.assumed:
        fields.assumed.remove("molecular: bare number read as mg/L")
    scale = fields.grams("scale")
    ask = SulfiteAsk(
        fields.need_volume(),
        ph,
        fields.need_alcohol(),
        temperature,
        molecular if molecular is not None else 0.8,
        fields.mg_l("free"),
        fields.mg_l("total"),
        fields.percent("binding"),
        fields.g_l("residual_sugar"),
        fields.number("ionic_strength"),
        fields.text("salt", "potassium"),
        fields.percent("strength"),
        fields.percent("stock"),
        fields.grams("tablet"),
        0.01 if scale is None else scale,
    )
    law = fields.law()
    return run(fields, lambda: sulfite_dose(ask, law))


def sorbate(given: Mapping[str, object]) -> SorbateDose:
    """Sorbate by alcohol. Fields: `SORBATE_FIELDS`."""
    fields = TypedFields(given, SORBATE_FIELDS)
    scale = fields.grams("scale")
    ask = SorbateAsk(
        fields.need_volume(),
        fields.need_alcohol(),
        fields.number("ph"),
        fields.mg_l("molecular"),
        fields.flag("malolactic"),
        fields.flag("fermenting"),
        0.1 if scale is None else scale,
        fields.mg_l("sorbic") or 0.0,
    )
    law = fields.law()
    return run(fields, lambda: sorbate_dose(ask, law))
