"""The nutrients a maker has, by the facts on their labels."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from mustwright.errors import InputError
from mustwright.nutrition.shelf import DEFAULT_SHELF, class_called, generic_nutrients
from mustwright.services import records as use
from mustwright.services.repository import Cellar, Record
from mustwright.texts import say
from mustwright.web.forms import lists
from mustwright.web.forms.jar_form import KIND, jar_field, jar_from_typed, typed_from_jar
from mustwright.web.forms.typed import TypedForm
from mustwright.web.pages.record_form import RecordForm, add_routes, cellar_of
from mustwright.web.pages.render_values import put_away, show

router = APIRouter(include_in_schema=False)
GROUPS = {
    "ammonium": say("ammonium salt"),
    "organic": say("amino nitrogen only"),
    "complex": say("ammonium and amino nitrogen"),
    "mineral": say("minerals or vitamins, hardly any nitrogen"),
    "buffer": say("buffer: moves the pH, added only if you ask"),
}
MINERALS = (
    ("potassium_mg_g", say("Potassium, mg/g")),
    ("magnesium_mg_g", say("Magnesium, mg/g")),
    ("zinc_mg_g", say("Zinc, mg/g")),
    ("phosphorus_mg_g", say("Phosphorus, mg/g")),
    ("thiamine_mg_g", say("Thiamine, mg/g")),
    ("pantothenate_mg_g", say("Pantothenate, mg/g")),
    ("biotin_mg_g", say("Biotin, mg/g")),
)


@router.get("/shelf")
def the_shelf(request: Request, gone: str = "") -> Response:
    """Everything on the shelf."""
    usual = [generic_nutrients()[name].name for name in DEFAULT_SHELF]
    jars = [
        {"jar": jar, "group": GROUPS.get(jar.nutrient.group, "") if jar.nutrient else ""}
        for jar in use.jars(cellar_of(request))
    ]
    return show(request, "shelf.html", jars=jars, gone=put_away(gone), usual=usual)


def _fill(record: Record) -> TypedForm:
    typed = typed_from_jar(record.text)
    typed.fields[KIND] = _kind_id(typed.get(KIND))
    return typed


def _kind_id(kind: str) -> str:
    try:
        return class_called(kind, KIND).id if kind else ""
    except InputError:
        return kind


def _keep(cellar: Cellar, key: str | None, typed: TypedForm, version: int | None) -> Record:
    base = typed.get("base")
    old_kind = typed_from_jar(base).get(KIND)
    if old_kind and typed.get(KIND) == _kind_id(old_kind):
        typed.fields[KIND] = old_kind
    text = jar_from_typed(base, typed)
    name = typed.get("name").strip() or typed.get(KIND)
    if not name:
        raise InputError("name", say("needs a name, or a kind"), "")
    return use.save_jar(cellar, key, name, text, version)


add_routes(
    router,
    RecordForm(
        "nutrient",
        "jar_form.html",
        "/shelf/new",
        "/shelf/{key}",
        "/shelf",
        (say("A nutrient for the shelf"), say("Change a nutrient")),
        lambda _: (TypedForm(), ""),
        _fill,
        _keep,
        lambda error, _: jar_field(error.field),
        lambda *_: {"kinds": list(lists.nutrient_options()), "minerals": MINERALS},
        gone_at="/shelf?gone={key}",
    ),
)
