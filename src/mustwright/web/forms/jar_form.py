"""A nutrient's label facts as a form and back."""

from __future__ import annotations

import tomlkit

from mustwright.web.forms.sheet_form import parse
from mustwright.web.forms.typed import TypedForm, put, shown

TEXT = ("name", "stock", "teaspoon")
OLD_TEASPOON = "grams_per_teaspoon"
NUMBERS = (
    "ammonium_n_mg_g",
    "amino_n_mg_g",
    "nitrogen_pct",
    "yan_mg_l_per_g_l",
    "label_max_g_l",
    "price_per_kg",
    "uptake_weight",
    "potassium_mg_g",
    "magnesium_mg_g",
    "zinc_mg_g",
    "phosphorus_mg_g",
    "thiamine_mg_g",
    "pantothenate_mg_g",
    "biotin_mg_g",
)
KIND = "kind"


def typed_from_jar(text: str) -> TypedForm:
    """The form as the record fills it."""
    document = parse(text)
    typed = TypedForm({key: shown(document.get(key)) for key in (*TEXT, *NUMBERS)})
    typed.fields["teaspoon"] = typed.fields["teaspoon"] or shown(document.get(OLD_TEASPOON))
    typed.fields[KIND] = shown(document.get("kind", document.get("class")))
    return typed


def jar_from_typed(base: str, typed: TypedForm) -> str:
    """The record with what the form changed written into it."""
    document = parse(base)
    before = typed_from_jar(base)
    for key in (*TEXT, *NUMBERS):
        if typed.get(key).strip() != before.get(key).strip():
            put(document, key, typed.get(key), key in NUMBERS)
            if key == "teaspoon":
                document.pop(OLD_TEASPOON, None)
    if typed.get(KIND).strip() != before.get(KIND).strip():
        document.pop("class", None)
        put(document, KIND, typed.get(KIND))
    return tomlkit.dumps(document)


def jar_field(field: str) -> str:
    """The form field that shows a label fact."""
    key = field.rpartition(".")[2].replace(OLD_TEASPOON, "teaspoon")
    if key in (*TEXT, *NUMBERS):
        return key
    return KIND if key in ("class", "kind") or field.count(".") == 1 else "all"
