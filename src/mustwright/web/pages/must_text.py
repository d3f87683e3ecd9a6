"""A must sheet as text: the same sheet the form writes, for makers who would rather type."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from mustwright.errors import ConflictError, InputError
from mustwright.services import records as use
from mustwright.services.repository import Cellar
from mustwright.web.forms.typed import TypedForm
from mustwright.web.pages.must_form import Form, version_of
from mustwright.web.pages.render_values import show_form

router = APIRouter(include_in_schema=False)
START = """[must]
volume = "19 L"
gravity = "1.095"        # or brix = 24, or alcohol = "12 %" with finish = "dry"
temperature = "20 C"

[[must.ingredient]]
kind = "honey"
amount = "solve"         # as much as reaches the target

[[must.ingredient]]
kind = "water"
amount = "fill"          # tops up to the volume

[yeast]
kind = "low-demand neutral"

[legal]
profile = "home"
"""


@router.get("/musts/new/text")
def new_text(request: Request) -> Response:
    """A sheet to start from."""
    return _form(request, None, TypedForm({"text": START, "name": ""}), "")


@router.post("/musts/new/text")
def keep_new_text(request: Request, typed: Form) -> Response:
    """Keep a new sheet."""
    return _keep(request, None, typed)


@router.get("/musts/{slug}/text")
def edit_text(request: Request, slug: str) -> Response:
    """A kept sheet as it was written."""
    record = request.app.state.compose.cellar.sheet(slug)
    typed = TypedForm({"text": record.text, "name": record.name})
    return _form(request, slug, typed, str(record.version))


@router.post("/musts/{slug}/text")
def keep_text(request: Request, slug: str, typed: Form) -> Response:
    """Keep changes to a sheet."""
    return _keep(request, slug, typed)


def _keep(request: Request, slug: str | None, typed: TypedForm) -> Response:
    cellar: Cellar = request.app.state.compose.cellar
    try:
        number = version_of(typed) if slug else None
        record = use.save_sheet(cellar, slug, typed.get("name"), typed.get("text"), number)
    except ConflictError:
        assert slug is not None
        now = cellar.sheet(slug)
        return _form(request, slug, typed, str(now.version), {}, now.text)
    except InputError as error:
        field = "name" if error.field == "must.name" and not typed.get("name").strip() else "text"
        return _form(request, slug, typed, typed.get("version"), {field: str(error)})
    return RedirectResponse(f"/musts/{record.slug}", 303)


def _form(
    request: Request,
    slug: str | None,
    typed: TypedForm,
    version: str,
    errors: Mapping[str, str] | None = None,
    theirs: str = "",
) -> Response:
    links = (
        [(f"/musts/{slug}", "The plan"), (f"/musts/{slug}/edit", "As a form")]
        if slug
        else [("/musts/new", "As a form")]
    )
    return show_form(
        request,
        "text_form.html",
        stamp=version,
        errors=errors,
        theirs=theirs,
        heading="The sheet as text" if slug else "A new must as text",
        action=f"/musts/{slug}/text" if slug else "/musts/new/text",
        back=f"/musts/{slug}" if slug else "/",
        label="Must sheet (TOML)",
        hint="The same sheet the command line reads. Comments stay. Without a [shelf] of its own "
        "it is planned with the cellar’s shelf.",
        links=links,
        named=True,
        typed=typed,
    )
