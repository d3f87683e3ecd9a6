"""The nutrients a maker has, by the facts on their labels."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from mustwright.errors import ConflictError, InputError
from mustwright.nutrition.shelf import DEFAULT_SHELF, class_called, generic_nutrients
from mustwright.services import records as use
from mustwright.services.repository import Cellar
from mustwright.web.forms import lists
from mustwright.web.forms.jar_form import KIND, jar_field, jar_from_typed, typed_from_jar
from mustwright.web.forms.typed import TypedForm, said
from mustwright.web.pages.must_form import Form, version_of
from mustwright.web.pages.render_values import put_away, show, show_form

router = APIRouter(include_in_schema=False)
GROUPS = {
    "ammonium": "ammonium salt",
    "organic": "amino nitrogen only",
    "complex": "ammonium and amino nitrogen",
    "mineral": "minerals or vitamins, no nitrogen to speak of",
    "buffer": "buffer: moves the pH, never dosed unasked",
}
MINERALS = (
    ("potassium_mg_g", "Potassium, mg/g"),
    ("magnesium_mg_g", "Magnesium, mg/g"),
    ("zinc_mg_g", "Zinc, mg/g"),
    ("phosphorus_mg_g", "Phosphorus, mg/g"),
    ("thiamine_mg_g", "Thiamine, mg/g"),
    ("pantothenate_mg_g", "Pantothenate, mg/g"),
    ("biotin_mg_g", "Biotin, mg/g"),
)


@router.get("/shelf")
def the_shelf(request: Request, gone: str = "") -> Response:
    """Everything on the shelf."""
    cellar: Cellar = request.app.state.compose.cellar
    usual = [generic_nutrients()[name].name for name in DEFAULT_SHELF]
    jars = [
        {"jar": jar, "group": GROUPS.get(jar.nutrient.group, "") if jar.nutrient else ""}
        for jar in use.jars(cellar)
    ]
    return show(request, "shelf.html", jars=jars, gone=put_away(gone), usual=usual)


@router.get("/shelf/new")
def new_jar(request: Request) -> Response:
    """An empty label."""
    return _form(request, None, TypedForm(), "", "")


@router.post("/shelf/new")
def keep_new(request: Request, typed: Form) -> Response:
    """Put a nutrient on the shelf."""
    return _keep(request, None, typed)


@router.get("/shelf/{identity}")
def edit_jar(request: Request, identity: str) -> Response:
    """One label in the form."""
    record = request.app.state.compose.cellar.nutrient(identity)
    typed = typed_from_jar(record.text)
    typed.fields[KIND] = _kind_id(typed.get(KIND))
    return _form(request, identity, typed, record.text, str(record.version))


@router.post("/shelf/{identity}")
def keep_changes(request: Request, identity: str, typed: Form) -> Response:
    """Keep changes to a label."""
    return _keep(request, identity, typed)


@router.post("/shelf/{identity}/delete")
def take_off(request: Request, identity: str, typed: Form) -> Response:
    """Take a nutrient off the shelf; it can be brought back."""
    request.app.state.compose.cellar.delete_nutrient(identity, version_of(typed))
    return RedirectResponse(f"/shelf?gone={identity}", 303)


@router.post("/shelf/{identity}/restore")
def bring_back(request: Request, identity: str) -> Response:
    """Undo a deletion."""
    request.app.state.compose.cellar.restore_nutrient(identity)
    return RedirectResponse("/shelf", 303)


def _kind_id(kind: str) -> str:
    try:
        return class_called(kind, KIND).id if kind else ""
    except InputError:
        return kind


def _keep(request: Request, identity: str | None, typed: TypedForm) -> Response:
    cellar: Cellar = request.app.state.compose.cellar
    base, version = typed.get("base"), typed.get("version")
    try:
        old_kind = typed_from_jar(base).get(KIND)
        if old_kind and typed.get(KIND) == _kind_id(old_kind):
            typed.fields[KIND] = old_kind
        text = jar_from_typed(base, typed)
        if not typed.get("name").strip() and not typed.get(KIND):
            raise InputError("name", "needs a name, or a kind", "")
        number = version_of(typed) if identity else None
        name = typed.get("name").strip() or typed.get(KIND)
        use.save_jar(cellar, identity, name, text, number)
    except ConflictError:
        if identity is None:
            raise
        now = cellar.nutrient(identity)
        return _form(request, identity, typed, base, str(now.version), {}, now.text)
    except InputError as error:
        field = "name" if error.field == "name" else jar_field(error.field)
        return _form(request, identity, typed, base, version, {field: said(error)})
    return RedirectResponse("/shelf", 303)


def _form(
    request: Request,
    identity: str | None,
    typed: TypedForm,
    base: str,
    version: str,
    errors: Mapping[str, str] | None = None,
    theirs: str = "",
) -> Response:
    return show_form(
        request,
        "jar_form.html",
        stamp=version,
        errors=errors,
        theirs=theirs,
        heading="Change a nutrient" if identity else "A nutrient for the shelf",
        action=f"/shelf/{identity}" if identity else "/shelf/new",
        identity=identity,
        typed=typed,
        base=base,
        kinds=list(lists.nutrient_options()),
        minerals=MINERALS,
    )
