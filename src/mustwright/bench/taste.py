"""Typed fields into the steps that change the taste: sweeten, acid, tannin, fruit, spice, blend."""

from __future__ import annotations

import re
from collections.abc import Mapping

from mustwright.bench.fields import TypedFields, gravity_of, run
from mustwright.bench.stabilise import read_range
from mustwright.errors import InputError
from mustwright.finishing.acid import (
    AcidAsk,
    AcidDose,
    acid_dose,
)
from mustwright.finishing.acid_chemistry import buffer_from_titration
from mustwright.finishing.blending import BlendResult, blend_lots
from mustwright.finishing.late import LateAddition, Spice, add_late, spice
from mustwright.finishing.lots import QUANTITIES, SCALE, BlendTarget, Lot
from mustwright.finishing.protection import Protection
from mustwright.finishing.step import finishing_data
from mustwright.finishing.sweeten import SweetenAsk, Sweetening, sweeten
from mustwright.finishing.tannin import TanninDose, tannin_dose
from mustwright.units import parse_quantity

PROTECTION_FIELDS = ("stabilised", "tolerance", "days_still", "residual_sugar")
SWEETEN_FIELDS = (
    "volume", "gravity", "alcohol", "to", "with", "moisture", "brix", "acidity", "ph", "scale",
    "glasses", "profile", *PROTECTION_FIELDS,
)  # fmt: skip
ACID_FIELDS = (
    "volume", "with", "acidity", "to_acidity", "ph", "to_ph", "buffer", "titration", "scale",
    "profile",
)  # fmt: skip
TANNIN_FIELDS = ("volume", "scale", "profile")
FRUIT_FIELDS = (
    "volume", "gravity", "alcohol", "with", "amount", "brix", "moisture", *PROTECTION_FIELDS,
)  # fmt: skip
SPICE_FIELDS = ("volume", "with", "dose")
BLEND_FIELDS = ("lot", "target", "volume", "cheapest", "profile")
_LOT_KEYS = (
    "name", "volume", "least", "alcohol", "gravity", "acidity", "so2", "sugar", "colour", "price",
)  # fmt: skip
_DIMENSIONS = {
    "alcohol": "alcohol", "gravity": "gravity", "acidity": "mass concentration",
    "so2": "mass concentration", "sugar": "mass concentration", "colour": "number",
}  # fmt: skip


def sweeten_to(given: Mapping[str, object]) -> Sweetening:
    """Sweeten to a gravity, to g/L of sugar, or to a word. Fields: `SWEETEN_FIELDS`."""
    fields = TypedFields(given, SWEETEN_FIELDS)
    sweetener = fields.ingredient("with", "honey")
    assert sweetener is not None
    to_gravity, to_sugar = _goal(fields)
    scale = fields.grams("scale")
    glasses = fields.number("glasses")
    ask = SweetenAsk(
        fields.need_volume(),
        fields.need_gravity(),
        fields.need_alcohol(),
        sweetener,
        to_gravity,
        to_sugar,
        fields.g_l("residual_sugar"),
        fields.g_l("acidity"),
        fields.number("ph"),
        _protection(fields),
        1.0 if scale is None else scale,
        6 if glasses is None else int(glasses),
    )
    law = fields.law()
    return run(fields, lambda: sweeten(ask, law))


def _goal(fields: TypedFields) -> tuple[float | None, float | None]:
    """A gravity, or grams of sugar per litre (typed, or by a word)."""
    value = fields.raw("to")
    words = {str(w["id"]): w for w in finishing_data()["sweetness"]}
    such_as = f"needs a gravity, g/L of sugar, or one of {', '.join(words)}"
    if value is None:
        raise InputError("to", such_as, None)
    word = str(value).strip().lower()
    if word in words:
        found = words[word]
        fields.assumed.append(f"to: '{word}' taken as {found['g_l']:g} g/L ({found['source']})")
        return None, float(found["g_l"])
    quantity = parse_quantity(value, "to")
    if quantity.dimension == "mass concentration" or quantity.unit == "g/L sugar":
        return None, quantity.value
    if quantity.dimension in ("number", "gravity"):
        return gravity_of(value, "to"), None
    raise InputError("to", such_as, value)


def _protection(fields: TypedFields) -> Protection:
    high = None
    if fields.has("tolerance"):
        high = read_range(fields.raw("tolerance"), "tolerance", "alcohol")[1]
    by = fields.text("stabilised").lower() or None
    return Protection(by, high, fields.days("days_still"), fields.g_l("residual_sugar"))


def acid(given: Mapping[str, object]) -> AcidDose:
    """Acid or carbonate. Fields: `ACID_FIELDS`.

    ``titration`` comes several times: ``0.5 g/L: 3.41``, the pH of a glass with that dose.
    """
    fields = TypedFields(given, ACID_FIELDS)
    substance = fields.text("with", "tartaric")
    buffer = fields.number("buffer")
    if fields.has("titration"):
        readings = [_titration(t, i) for i, t in enumerate(fields.many("titration"), 1)]
        buffer = buffer_from_titration(readings, substance)
        fields.assumed.append(f"titration: buffer {buffer:.1f} meq/L per pH from your glasses")
    scale = fields.grams("scale")
    ask = AcidAsk(
        fields.need_volume(),
        substance,
        fields.g_l("acidity"),
        fields.g_l("to_acidity"),
        fields.number("ph"),
        fields.number("to_ph"),
        buffer,
        0.1 if scale is None else scale,
    )
    law = fields.law()
    return run(fields, lambda: acid_dose(ask, law))


def _titration(text: object, index: int) -> tuple[float, float]:
    name = f"titration {index}"
    such_as = "needs a dose and its pH such as '0.5 g/L: 3.41'"
    parts = re.split(r"\s*[:=]\s*", str(text))
    if len(parts) != 2:
        raise InputError(name, such_as, text)
    dose, ph = parse_quantity(parts[0], name), parse_quantity(parts[1], name)
    if dose.dimension not in ("mass concentration", "number") or ph.dimension != "number":
        raise InputError(name, such_as, text)
    if not (0 <= dose.value <= 50 and 2 <= ph.value <= 9):
        raise InputError(name, such_as, text)
    return dose.value, ph.value


def tannin(given: Mapping[str, object]) -> TanninDose:
    """Tannin by taste. Fields: `TANNIN_FIELDS`."""
    fields = TypedFields(given, TANNIN_FIELDS)
    volume, scale, law = fields.need_volume(), fields.grams("scale"), fields.law()
    return run(fields, lambda: tannin_dose(volume, law, 0.1 if scale is None else scale))


def fruit(given: Mapping[str, object]) -> LateAddition:
    """Fruit or juice late. Fields: `FRUIT_FIELDS`."""
    fields = TypedFields(given, FRUIT_FIELDS)
    ingredient, amount = fields.ingredient("with"), fields.kilograms("amount")
    if ingredient is None:
        raise InputError("with", "needs a fruit or juice such as 'raspberry'", None)
    if amount is None:
        raise InputError("amount", "needs a mass such as '2 kg'", None)
    volume, gravity, alcohol = fields.need_volume(), fields.need_gravity(), fields.need_alcohol()
    protection = _protection(fields)
    return run(fields, lambda: add_late(volume, gravity, alcohol, ingredient, amount, protection))


def add_spice(given: Mapping[str, object]) -> Spice:
    """Spice by grams per litre. Fields: `SPICE_FIELDS`."""
    fields = TypedFields(given, SPICE_FIELDS)
    volume, dose = fields.need_volume(), fields.g_l("dose")
    if dose is None:
        raise InputError("dose", "needs grams per litre such as '1 g/L'", None)
    name = fields.text("with", "spice")
    return run(fields, lambda: spice(volume, dose, name))


def blend(given: Mapping[str, object]) -> BlendResult:
    """Blend lots to targets. Fields: `BLEND_FIELDS`.

    ``lot`` comes two to six times: ``name=old, volume=10 L, alcohol=14 %, gravity=1.012`` and, as
    known, ``acidity=5 g/L, so2=60 mg/L, sugar=.., colour=.., price=.., least=..``; ``target``
    comes once per quantity: ``alcohol=12 %`` or ``gravity=1.008 to 1.012``.
    """
    fields = TypedFields(given, BLEND_FIELDS)
    lots = [read_lot(lot, i) for i, lot in enumerate(fields.many("lot"), 1)]
    targets = [read_target(target) for target in fields.many("target")]
    volume, law, cheapest = fields.volume("volume"), fields.law(), fields.flag("cheapest")
    return run(fields, lambda: blend_lots(lots, targets, law, volume_l=volume, cheapest=cheapest))


def read_lot(value: object, index: int) -> Lot:
    """One lot, from text or from a table of named values."""
    where = f"lot {index}"
    pairs = lot_pairs(value, index)
    for key in pairs:
        if key not in _LOT_KEYS:
            raise InputError(where, f"knows only {', '.join(_LOT_KEYS)}", key)
    for key in ("volume", "alcohol", "gravity"):
        if key not in pairs:
            raise InputError(where, f"needs its {key}", None)
    try:
        return _lot(pairs, index)
    except InputError as error:
        raise type(error)(f"{where}.{error.field}", error.requirement, error.got) from None


def lot_pairs(value: object, index: int) -> dict[str, object]:
    """One lot as a table of named values, none of them read yet."""
    return dict(value) if isinstance(value, Mapping) else {**_pairs(value, f"lot {index}")}


def _lot(pairs: Mapping[str, object], index: int) -> Lot:
    fields = TypedFields({k: v for k, v in pairs.items() if k != "name"}, _LOT_KEYS)
    named = TypedFields({"name": pairs.get("name", f"lot {index}")}, ("name",))
    return Lot(
        named.text("name"),
        fields.need_volume("volume"),
        fields.need_alcohol(),
        fields.need_gravity(),
        fields.volume("least") or 0.0,
        fields.g_l("acidity"),
        fields.mg_l("so2"),
        fields.g_l("sugar"),
        fields.number("colour"),
        fields.number("price"),
    )


def read_target(value: object) -> BlendTarget:
    """One target such as ``alcohol=12 %`` or ``gravity=1.008 to 1.012``.

    Examples
    --------
    >>> read_target("so2=0 to 90 mg/L")
    BlendTarget(quantity='so2', low=0.0, high=90.0)
    """
    pairs = _pairs(value, "target")
    if len(pairs) != 1:
        raise InputError("target", "needs one quantity such as 'alcohol=12 %'", value)
    [(quantity, wanted)] = pairs.items()
    if quantity not in QUANTITIES:
        raise InputError("target", f"needs one of {', '.join(QUANTITIES)}", quantity)
    where = f"target.{quantity}"
    parts = re.split(r"\s*(?:\bto\b|\.\.)\s*", wanted)
    unit = re.sub(r"^[\s+\-\d.,]*", "", parts[-1])
    if len(parts) == 2 and re.fullmatch(r"[\s+\-\d.,]*", parts[0]) and unit:
        wanted = f"{parts[0]} {unit} to {parts[1]}"
    low, high = read_range(wanted, where, _DIMENSIONS[quantity])
    bare = not unit and quantity == "so2"
    factor = 1000.0 if quantity == "so2" and not bare else 1.0
    low, high = low * factor, high * factor
    if abs(low) > 1e6 or abs(high) > 1e6:
        raise InputError(where, "needs a value in reach", wanted)
    assert quantity in SCALE
    return BlendTarget(quantity, low, high)


def _pairs(value: object, where: str) -> dict[str, str]:
    """``a=b, c=d`` as a table."""
    pairs: dict[str, str] = {}
    if not isinstance(value, str):
        raise InputError(where, "needs text such as 'alcohol=12 %'", value)
    for part in re.split(r",(?!\d)", value):
        key, equal, text = part.partition("=")
        key = key.strip().lower()
        if not equal or not key or not text.strip():
            raise InputError(where, "needs parts such as 'alcohol=12 %', with commas between", part)
        if key in pairs:
            raise InputError(where, "needs each name once", key)
        pairs[key] = text.strip()
    return pairs
