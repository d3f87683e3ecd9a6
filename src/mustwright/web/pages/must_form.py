"""A new must, or changes to one, by form; what is wrong with a field is shown beside it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from starlette.responses import RedirectResponse, Response

from mustwright.errors import ConflictError, InputError
from mustwright.nutrition.shelf import DEFAULT_SHELF, generic_nutrients
from mustwright.services import records as use
from mustwright.services.repository import Cellar
from mustwright.web.forms import lists
from mustwright.web.forms.sheet_form import (
    OWN,
    ROW_FIELDS,
    form_field,
    sheet_from_typed,
    typed_from_sheet,
)
from mustwright.web.forms.typed import TypedForm, posted, said
from mustwright.web.pages.render_values import show_form
from mustwright.yeast.pitch import strain_called

router = APIRouter(include_in_schema=False)
Form = Annotated[TypedForm, Depends(posted)]
NEW_ROWS = ({"kind": "", "amount": "solve"}, {"kind": "water", "amount": "fill"})
LOT_LABELS = (
    ("moisture_pct", "Water of honey, %"),
    ("refractive_index", "or its refractive index at 20 °C"),
    ("brix", "Brix of juice or fruit"),
    ("ph", "pH"),
    ("yan_mg_l", "Measured YAN of its juice, mg N/L"),
    ("yan_mg_kg", "or measured YAN, mg N/kg"),
    ("potassium_mg_kg", "Potassium, mg/kg"),
    ("parts", "Parts, where several are solved together"),
    ("name", "Your own name for it"),
)


@router.get("/musts/new")
def new_must(request: Request) -> Response:
    """An empty form, with the two rows most musts have."""
    typed = TypedForm({"temperature": "20 C"}, [dict(row) for row in NEW_ROWS])
    return _form(request, None, typed, "", "")


@router.post("/musts/new")
def keep_new(request: Request, typed: Form) -> Response:
    """Keep a new must, add a row, or say what is wrong."""
    return _keep(request, None, typed)


@router.get("/musts/{slug}/edit")
def edit_must(request: Request, slug: str) -> Response:
    """A kept must in the form."""
    record = request.app.state.compose.cellar.sheet(slug)
    try:
        typed = typed_from_sheet(record.text, record.name)
    except InputError:
        return RedirectResponse(f"/musts/{slug}/text", 303)
    typed.rows.append({})
    _tidy_choices(typed)
    return _form(request, slug, typed, record.text, str(record.version))


@router.post("/musts/{slug}/edit")
def keep_changes(request: Request, slug: str, typed: Form) -> Response:
    """Keep changes to a must."""
    return _keep(request, slug, typed)


@router.post("/musts/{slug}/delete")
def put_away(request: Request, slug: str, typed: Form) -> Response:
    """Hide a must; it can be brought back."""
    request.app.state.compose.cellar.delete_sheet(slug, version_of(typed))
    return RedirectResponse(f"/?gone={slug}", 303)


@router.post("/musts/{slug}/restore")
def bring_back(request: Request, slug: str) -> Response:
    """Undo a deletion."""
    request.app.state.compose.cellar.restore_sheet(slug)
    return RedirectResponse(f"/musts/{slug}", 303)


def version_of(typed: TypedForm) -> int:
    """The version the form was filled from.

    Raises
    ------
    InputError
    """
    text = typed.get("version")
    if not text.isdecimal() or len(text) > 12:
        raise InputError("version", "needs the number the form came with", text)
    return int(text)


def _keep(request: Request, slug: str | None, typed: TypedForm) -> Response:
    cellar: Cellar = request.app.state.compose.cellar
    base, version = typed.get("base"), typed.get("version")
    if typed.get("do") == "row":
        typed.rows.append({})
        return _form(request, slug, typed, base, version)
    errors: dict[str, str] = {}
    name = typed.get("name").strip()
    try:
        text = _sheet(cellar, base, typed)
        number = version_of(typed) if slug else None
        record = use.save_sheet(cellar, slug, name, text, number)
    except ConflictError:
        assert slug is not None
        now = cellar.sheet(slug)
        return _form(request, slug, typed, base, str(now.version), {}, now.text)
    except InputError as error:
        field = form_field(error.field, typed) or ("name" if error.field == "must.name" else "all")
        errors[field] = said(error) if field != "all" else str(error)
        return _form(request, slug, typed, base, version, errors)
    return RedirectResponse(f"/musts/{record.slug}", 303)


def _sheet(cellar: Cellar, base: str, typed: TypedForm) -> str:
    """The text the form stands for; fields whose own text means the same stay as they were."""
    if typed.get("shelf") == OWN and not typed.many.get("jar"):
        raise InputError("shelf", "needs at least one nutrient ticked, or the cellar's shelf", "")
    before = typed_from_sheet(base, typed.get("name"))
    kind = before.get("yeast_kind")
    if kind and typed.get("yeast_kind") == _strain_id(kind):
        typed = TypedForm({**typed.fields, "yeast_kind": kind}, typed.rows, typed.many)
    jars: dict[str, Mapping[str, Any]] = {}
    for record in cellar.nutrients():
        jars[record.id] = tomllib.loads(record.text)
    return sheet_from_typed(base, typed, jars)


def _strain_id(kind: str) -> str:
    try:
        return strain_called(kind).id
    except InputError:
        return kind


def _tidy_choices(typed: TypedForm) -> None:
    """Names people use become the ids that the lists offer."""
    if typed.get("yeast_kind"):
        typed.fields["yeast_kind"] = _strain_id(typed.get("yeast_kind"))


def _choices(cellar: Cellar, typed: TypedForm) -> list[tuple[str, str, str]]:
    """Nutrients to tick: in the sheet already, on the cellar's shelf, generic ones."""
    found: dict[str, tuple[str, str]] = {}
    for jar in use.jars(cellar):
        name = jar.nutrient.name if jar.nutrient else jar.record.id
        found[jar.record.id] = (name, "on the cellar’s shelf")
    for generic in generic_nutrients().values():
        found.setdefault(generic.id, (generic.name, "generic figures, stock without end"))
    for name in typed.many.get("jar", []):
        if name not in found:
            found[name] = (name, "as this sheet says")
    return [(identity, *rest) for identity, rest in found.items()]


def _shelf_words(cellar: Cellar) -> str:
    names = [jar.nutrient.name if jar.nutrient else jar.record.id for jar in use.jars(cellar)]
    generic = [generic_nutrients()[name].name for name in DEFAULT_SHELF]
    return ", ".join(names) or "empty, so generic ones are taken: " + ", ".join(generic)


def _form(
    request: Request,
    slug: str | None,
    typed: TypedForm,
    base: str,
    version: str,
    errors: Mapping[str, str] | None = None,
    theirs: str = "",
) -> Response:
    errors = errors or {}
    cellar: Cellar = request.app.state.compose.cellar
    extra = [field for field in ROW_FIELDS if field not in ("kind", "amount", "stage")]
    return show_form(
        request,
        "must_form.html",
        stamp=version,
        errors=errors,
        theirs=theirs,
        heading="Change the must" if slug else "A new must",
        action=f"/musts/{slug}/edit" if slug else "/musts/new",
        slug=slug,
        typed=typed,
        base=base,
        kinds=lists.ingredient_names(),
        stages=lists.STAGE_OPTIONS,
        facts=LOT_LABELS,
        row_open=[
            any(row.get(field) or f"portion.{i}.{field}" in errors for field in extra)
            for i, row in enumerate(typed.rows)
        ],
        yeasts=list(lists.yeast_options()),
        laws=list(lists.law_options()),
        choices=_choices(cellar, typed),
        shelf_words=_shelf_words(cellar),
    )
