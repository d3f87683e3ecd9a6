"""A new must, or changes to one, by form; what is wrong with a field is shown beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter

from mustwright.errors import InputError
from mustwright.must.blend import PRIMARY
from mustwright.nutrition.shelf import DEFAULT_SHELF, generic_nutrients
from mustwright.planning.must_setup import Ground, ground_of
from mustwright.services import records as use
from mustwright.services.repository import Cellar, Record
from mustwright.texts import join, say
from mustwright.toml_text import toml_table
from mustwright.unit_system import METRIC, chosen, degree_sign
from mustwright.web.forms import lists
from mustwright.web.forms.sheet_form import (
    AMOUNT_CHOICES,
    CELLAR,
    GENERIC,
    OWN,
    ROW_FIELDS,
    VOLUME_CHOICES,
    form_field,
    sheet_from_typed,
    typed_from_sheet,
    with_amounts_to_choose,
    with_chosen_amounts,
)
from mustwright.web.forms.typed import TypedForm, said
from mustwright.web.pages.record_form import TRY, RecordForm, add_routes
from mustwright.yeast.pitch import strain_called

router = APIRouter(include_in_schema=False)
NEW_ROWS = ({"kind": "", "amount": "solve"}, {"kind": "water", "amount": "fill"})
LOT_LABELS = (
    ("moisture_pct", say("Water of honey, %")),
    ("refractive_index", say("or its refractive index at 20 °C")),
    ("brix", say("Brix of juice or fruit")),
    ("alkalinity_mg_l", say("Alkalinity of water, mg/L as CaCO3")),
    ("hardness_dh", say("or its hardness, °dH")),
    ("ph", "pH"),
    ("yan_mg_l", say("Measured YAN of its juice, mg N/L")),
    ("yan_mg_kg", say("or measured YAN, mg N/kg")),
    ("potassium_mg_kg", say("Potassium, mg/kg")),
    ("price_per_kg", say("Price of a kilogram")),
    ("parts", say("Parts, where several are solved together")),
    ("name", say("Your own name for it")),
)


def _fill(record: Record) -> TypedForm:
    typed = typed_from_sheet(record.text, record.name)
    typed.rows.append({})
    if typed.get("shelf") == CELLAR:
        typed.fields["shelf"] = GENERIC  # on an empty shelf that is how it is planned
    if typed.get("yeast_kind"):  # names people use become the ids that the list offers
        typed.fields["yeast_kind"] = _strain_id(typed.get("yeast_kind"))
    return typed


def keep_must(cellar: Cellar, key: str | None, typed: TypedForm, version: int | None) -> Record:
    """Check the must that a form stands for and keep it.

    Raises
    ------
    InputError, ConflictError
    """
    text = _sheet(cellar, typed.get("base"), with_chosen_amounts(typed))
    return use.save_sheet(cellar, key, typed.get("name").strip(), text, version)


def must_field(error: InputError, typed: TypedForm) -> str:
    """The field of the form that an error stands beside."""
    return form_field(error.field, typed) or ("name" if error.field == "must.name" else "all")


def _sheet(cellar: Cellar, base: str, typed: TypedForm) -> str:
    """The text the form stands for; fields whose own text means the same stay as they were."""
    if typed.get("shelf") == OWN and not typed.many.get("jar"):
        raise InputError(
            "shelf", say("needs at least one nutrient ticked, or the cellar's shelf"), ""
        )
    asked = typed.get("shelf") not in (OWN, GENERIC) and not typed.many.get("jar")
    if asked and not use.jars(cellar):
        raise InputError(
            "shelf",
            say(
                "needs to know what you have: put it on the shelf or tick it here, "
                "or choose generic kinds to see what a plan looks like"
            ),
            say("an empty shelf"),
        )
    return _sheet_text(cellar, base, typed)


def _sheet_text(cellar: Cellar, base: str, typed: TypedForm) -> str:
    before = typed_from_sheet(base, typed.get("name"))
    kind = before.get("yeast_kind")
    if kind and typed.get("yeast_kind") == _strain_id(kind):
        typed = TypedForm({**typed.fields, "yeast_kind": kind}, typed.rows, typed.many)
    jars = {
        record.key: toml_table(record.text, record.key) for record in cellar.records("nutrient")
    }
    return sheet_from_typed(base, typed, jars)


@dataclass(frozen=True)
class TriedMust:
    """What a half-typed must comes to: its ground, or what is still missing."""

    ground: Ground | None = None
    wrong: str = ""


def tried_must(cellar: Cellar, typed: TypedForm) -> TriedMust:
    """Work out the must as typed so far; nothing is kept, and no shelf is asked for."""
    try:
        text = _sheet_text(cellar, typed.get("base"), with_chosen_amounts(typed))
        return TriedMust(ground_of(text, typed.get("name").strip() or "must"))
    except InputError as error:
        return TriedMust(wrong=said(error))


def _strain_id(kind: str) -> str:
    try:
        return strain_called(kind).id
    except InputError:
        return kind


def _nutrients(cellar: Cellar, typed: TypedForm) -> list[tuple[str, str, str]]:
    """Nutrients to tick: in the sheet already, on the cellar's shelf, generic ones."""
    found = {jar.record.key: (jar.name, say("on the cellar’s shelf")) for jar in use.jars(cellar)}
    for generic in generic_nutrients().values():
        found.setdefault(generic.id, (generic.name, say("generic figures, unlimited stock")))
    for name in typed.many.get("jar", []):
        found.setdefault(name, (name, say("as this sheet says")))
    return [(identity, *rest) for identity, rest in found.items()]


def shelf_words(cellar: Cellar) -> str:
    """The names of what is on the shelf."""
    return join(", ", [jar.name for jar in use.jars(cellar)])


def _options(cellar: Cellar, typed: TypedForm, errors: Mapping[str, str]) -> Mapping[str, Any]:
    choices = _nutrients(cellar, typed)
    extra = [field for field in ROW_FIELDS if field not in ("kind", "amount", "stage")]
    return {
        **unit_hints(),
        "tried": tried_must(cellar, typed) if typed.get("do") == TRY else None,
        "kinds": lists.ingredient_names(),
        "shown": with_amounts_to_choose(typed),
        "amount_choices": AMOUNT_CHOICES,
        "volume_choices": VOLUME_CHOICES,
        "stages": lists.STAGE_OPTIONS,
        "facts": LOT_LABELS,
        "row_open": [
            any(f"portion.{i}.{field}" in errors for field in (*extra, "stage"))
            for i in range(len(typed.rows))
        ],
        "row_known": [_known(row) for row in typed.rows],
        "yeasts": list(lists.yeast_options()),
        "laws": list(lists.law_options()),
        "aims": list(lists.aim_options()),
        "choices": choices,
        "ticked": join(", ", [name for id, name, _ in choices if id in typed.many.get("jar", [])]),
        "shelf_words": shelf_words(cellar),
        "generic_words": join(", ", [generic_nutrients()[name].name for name in DEFAULT_SHELF]),
    }


def _known(row: Mapping[str, str]) -> str:
    """What a folded lot holds, in short."""
    stages = dict(lists.STAGE_OPTIONS)
    stage = row.get("stage", "")
    said = [stages.get(stage, stage)] if stage and stage != PRIMARY else []
    labels = {field: label.removeprefix("or ") for field, label in LOT_LABELS}
    return join(
        "; ",
        said
        + [
            join(" ", (labels[field], row[field])) for field in labels if row.get(field, "").strip()
        ],
    )


BARE = {"L": say("litres"), "US gal": say("US gallons"), "imp gal": say("imperial gallons")}


def usual_warmth() -> str:
    """What a new must's temperature starts from, in the chosen unit."""
    return "68 F" if (chosen() or METRIC).temperature == "F" else "20 C"


def unit_hints() -> dict[str, str]:
    """What the fields say of units: examples, and what a bare number is read as."""
    system = chosen() or METRIC
    volumes = {"L": say("19 L or 5 US gal"), "US gal": "5 US gal", "imp gal": "4 imp gal"}
    own = system.volume
    return {
        "bare_volume": say(
            "{example}; without a unit it is read as {unit}.", example=volumes[own], unit=BARE[own]
        ),
        "bare_temperature": say(
            "{example}; without a unit it is read as {unit}.",
            example=say("20 C or 68 F") if chosen() is None else usual_warmth(),
            unit=degree_sign(system),
        ),
        "amounts_like": "6 kg, 15 lb 4 oz, 3 L"
        if chosen() is None
        else f"{'15 lb 4 oz' if system.mass == 'lb' else '6 kg'}, "
        f"{'3 L' if own == 'L' else f'1 {own}'}",
    }


add_routes(
    router,
    RecordForm(
        "sheet",
        "must_form.html",
        "/musts/new",
        "/musts/{key}/edit",
        "/musts/{key}",
        (say("A new must"), say("Change the must")),
        lambda _: (
            TypedForm({"temperature": usual_warmth()}, [dict(row) for row in NEW_ROWS]),
            "",
        ),
        _fill,
        keep_must,
        must_field,
        _options,
        gone_at="/?gone={key}",
        text_at="/musts/{key}/text",
        answer="must_sum.html",
    ),
)
