"""The ingredients of a must sheet: what, how much, at which stage, with the facts of the lot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from mustwright.errors import InputError
from mustwright.must.blend import PRIMARY, Portion
from mustwright.must.ingredient import (
    LOT_FACTS,
    Ingredient,
    ingredient_called,
    kind_words,
    with_lot_facts,
)
from mustwright.planning.sheet_values import mapping, number_within
from mustwright.texts import join, say
from mustwright.units import parse_quantity

STAGES = (PRIMARY, "secondary", "late")
INGREDIENT_KEYS = ("kind", "amount", "stage", "parts", "name", "form", "price_per_kg", *LOT_FACTS)


def read_ingredients(
    content: object, assumptions: list[str]
) -> tuple[tuple[Portion, ...], tuple[float, ...]]:
    """Portions of a sheet and their parts by mass; what was taken for granted is noted.

    Raises
    ------
    InputError
    """
    if content is None:
        return (), ()
    if not isinstance(content, Sequence) or isinstance(content, str) or len(content) > 40:
        raise InputError(
            "must.ingredient", say("needs one to forty [[must.ingredient]] tables"), content
        )
    portions, parts = [], []
    for i, entry in enumerate(content):
        portion, part = _ingredient(
            mapping(entry, f"must.ingredient[{i}]"), f"must.ingredient[{i}]", assumptions
        )
        portions.append(portion)
        parts.append(part)
    _water_for_open_volume(portions, parts, assumptions)
    return tuple(portions), tuple(parts)


def _ingredient(
    entry: Mapping[str, Any], field: str, assumptions: list[str]
) -> tuple[Portion, float]:
    for key in entry:
        if key not in INGREDIENT_KEYS:
            raise InputError(
                f"{field}.{key}",
                say("is not known; known: {known}", known=", ".join(INGREDIENT_KEYS)),
                entry[key],
            )
    generic, note = ingredient_called(entry.get("kind"), f"{field}.kind")
    assumptions.append(note)
    facts = {key: entry[key] for key in entry if key in LOT_FACTS}
    lot, notes = with_lot_facts(generic, facts, field)
    assumptions.extend(notes)
    stage = str(entry.get("stage", PRIMARY)).strip().lower()
    if stage not in STAGES:
        raise InputError(
            f"{field}.stage", say("needs one of {known}", known=", ".join(STAGES)), entry["stage"]
        )
    part = (
        number_within(entry.get("parts"), f"{field}.parts", 0.001, 1000, say("parts by mass"))
        or 1.0
    )
    kg, origin = _amount(entry.get("amount"), f"{field}.amount", lot, assumptions)
    if origin != "typed" and stage != PRIMARY:
        raise InputError(
            f"{field}.amount",
            say("needs an amount: a {stage} ingredient is not solved", stage=stage),
            origin,
        )
    price = number_within(
        entry.get("price_per_kg"), f"{field}.price_per_kg", 0, 1e5, say("a price of a kilogram")
    )
    name = str(entry["name"]) if entry.get("name") else kind_words(str(entry["kind"]))
    return Portion(lot, kg, stage, name, origin, price), part


def _amount(
    value: object, field: str, lot: Ingredient, assumptions: list[str]
) -> tuple[float, str]:
    if isinstance(value, str) and value.strip().lower() in ("solve", "fill"):
        return 0.0, value.strip().lower()
    quantity = parse_quantity(value, field)
    assumptions.append(quantity.assumed)
    kg = quantity.value * (lot.density_kg_l if quantity.dimension == "volume" else 1.0)
    if quantity.dimension in ("mass", "volume") and 1e-6 <= kg <= 1e6:
        return kg, "typed"
    raise InputError(
        field,
        say("needs an amount of 1 mg to 1000000 kg such as '2 kg' or '3 L', \"solve\" or \"fill\""),
        value,
    )


def _water_for_open_volume(
    portions: list[Portion], parts: list[float], assumptions: list[str]
) -> None:
    """Honey to solve for and nothing to fill with: the rest is water, and the plan says so."""
    origins = [p.origin for p in portions]
    wet = any(p.ingredient.form in ("water", "juice") for p in portions)
    if "solve" in origins and "fill" not in origins and not wet:
        water, _ = ingredient_called("water", "must.ingredient")
        portions.append(Portion(water, 0.0, PRIMARY, kind_words("water"), "fill"))
        parts.append(1.0)
        assumptions.append(
            join(
                ": ",
                ("must.ingredient", say("nothing to fill with, so water was added as 'fill'")),
            )
        )
