"""A new must, or changes to one, by form; what is wrong with a field is shown beside it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter

from mustwright.errors import InputError
from mustwright.nutrition.shelf import DEFAULT_SHELF, generic_nutrients
from mustwright.services import records as use
from mustwright.services.repository import Cellar, Record
from mustwright.toml_text import toml_table
from mustwright.unit_system import METRIC, chosen, degree_sign
from mustwright.web.forms import lists
from mustwright.web.forms.sheet_form import (
    CELLAR,
    GENERIC,
    OWN,
    ROW_FIELDS,
    form_field,
    sheet_from_typed,
    typed_from_sheet,
)
from mustwright.web.forms.typed import TypedForm
from mustwright.web.pages.record_form import RecordForm, add_routes
from mustwright.yeast.pitch import strain_called

router = APIRouter(include_in_schema=False)
NEW_ROWS = ({"kind": "", "amount": "solve"}, {"kind": "water", "amount": "fill"})
LOT_LABELS = (
    ("moisture_pct", "Water of honey, %"),
    ("refractive_index", "or its refractive index at 20 °C"),
    ("brix", "Brix of juice or fruit"),
    ("alkalinity_mg_l", "Alkalinity of water, mg/L as CaCO3"),
    ("hardness_dh", "or its hardness, °dH"),
    ("ph", "pH"),
    ("yan_mg_l", "Measured YAN of its juice, mg N/L"),
    ("yan_mg_kg", "or measured YAN, mg N/kg"),
    ("potassium_mg_kg", "Potassium, mg/kg"),
    ("price_per_kg", "Price of a kilogram"),
    ("parts", "Parts, where several are solved together"),
    ("name", "Your own name for it"),
)


def _fill(record: Record) -> TypedForm:
    typed = typed_from_sheet(record.text, record.name)
    typed.rows.append({})
    if typed.get("shelf") == CELLAR:
        typed.fields["shelf"] = GENERIC  # on an empty shelf that is how it is planned
    if typed.get("yeast_kind"):  # names people use become the ids that the list offers
        typed.fields["yeast_kind"] = _strain_id(typed.get("yeast_kind"))
    return typed


def _keep(cellar: Cellar, key: str | None, typed: TypedForm, version: int | None) -> Record:
    text = _sheet(cellar, typed.get("base"), typed)
    return use.save_sheet(cellar, key, typed.get("name").strip(), text, version)


def _field(error: InputError, typed: TypedForm) -> str:
    return form_field(error.field, typed) or ("name" if error.field == "must.name" else "all")


def _sheet(cellar: Cellar, base: str, typed: TypedForm) -> str:
    """The text the form stands for; fields whose own text means the same stay as they were."""
    if typed.get("shelf") == OWN and not typed.many.get("jar"):
        raise InputError("shelf", "needs at least one nutrient ticked, or the cellar's shelf", "")
    asked = typed.get("shelf") not in (OWN, GENERIC) and not typed.many.get("jar")
    if asked and not use.jars(cellar):
        raise InputError(
            "shelf",
            "needs to know what you have: put it on the shelf or tick it here, or choose generic "
            "kinds to see what a plan looks like",
            "an empty shelf",
        )
    before = typed_from_sheet(base, typed.get("name"))
    kind = before.get("yeast_kind")
    if kind and typed.get("yeast_kind") == _strain_id(kind):
        typed = TypedForm({**typed.fields, "yeast_kind": kind}, typed.rows, typed.many)
    jars = {
        record.key: toml_table(record.text, record.key) for record in cellar.records("nutrient")
    }
    return sheet_from_typed(base, typed, jars)


def _strain_id(kind: str) -> str:
    try:
        return strain_called(kind).id
    except InputError:
        return kind


def _nutrients(cellar: Cellar, typed: TypedForm) -> list[tuple[str, str, str]]:
    """Nutrients to tick: in the sheet already, on the cellar's shelf, generic ones."""
    found = {jar.record.key: (jar.name, "on the cellar’s shelf") for jar in use.jars(cellar)}
    for generic in generic_nutrients().values():
        found.setdefault(generic.id, (generic.name, "generic figures, unlimited stock"))
    for name in typed.many.get("jar", []):
        found.setdefault(name, (name, "as this sheet says"))
    return [(identity, *rest) for identity, rest in found.items()]


def _shelf_words(cellar: Cellar) -> str:
    return ", ".join(jar.name for jar in use.jars(cellar))


def _options(cellar: Cellar, typed: TypedForm, errors: Mapping[str, str]) -> Mapping[str, Any]:
    extra = [field for field in ROW_FIELDS if field not in ("kind", "amount", "stage")]
    return {
        **_unit_hints(),
        "kinds": lists.ingredient_names(),
        "stages": lists.STAGE_OPTIONS,
        "facts": LOT_LABELS,
        "row_open": [
            any(row.get(field) or f"portion.{i}.{field}" in errors for field in extra)
            for i, row in enumerate(typed.rows)
        ],
        "yeasts": list(lists.yeast_options()),
        "laws": list(lists.law_options()),
        "aims": list(lists.aim_options()),
        "choices": _nutrients(cellar, typed),
        "shelf_words": _shelf_words(cellar),
        "generic_words": ", ".join(generic_nutrients()[name].name for name in DEFAULT_SHELF),
    }


BARE = {"L": "litres", "US gal": "US gallons", "imp gal": "imperial gallons"}


def _usual_warmth() -> str:
    """What a new must's temperature starts from, in the chosen unit."""
    return "68 F" if (chosen() or METRIC).temperature == "F" else "20 C"


def _unit_hints() -> dict[str, str]:
    """What the fields say of units: examples, and what a bare number is read as."""
    system = chosen() or METRIC
    volumes = {"L": "19 L or 5 US gal", "US gal": "5 US gal", "imp gal": "4 imp gal"}
    own = system.volume
    return {
        "bare_volume": f"{volumes[own]}; a bare number here is read as {BARE[own]}.",
        "bare_temperature": f"{'20 C or 68 F' if chosen() is None else _usual_warmth()}; "
        f"a bare number here is read as {degree_sign(system)}.",
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
        ("A new must", "Change the must"),
        lambda _: (
            TypedForm({"temperature": _usual_warmth()}, [dict(row) for row in NEW_ROWS]),
            "",
        ),
        _fill,
        _keep,
        _field,
        _options,
        gone_at="/?gone={key}",
        text_at="/musts/{key}/text",
    ),
)
