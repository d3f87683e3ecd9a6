"""From nothing to a first plan: five questions, kept as a must by the must form's own use case."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.responses import RedirectResponse, Response

from mustwright.errors import InputError
from mustwright.services import records as use
from mustwright.texts import say
from mustwright.web.forms import lists
from mustwright.web.forms.sheet_form import CELLAR, GENERIC, OWN
from mustwright.web.forms.typed import TypedForm, posted, said
from mustwright.web.pages.must_form import (
    keep_must,
    must_field,
    shelf_words,
    unit_hints,
    usual_warmth,
)
from mustwright.web.pages.record_form import cellar_of
from mustwright.web.pages.render_values import show_form

router = APIRouter(include_in_schema=False)
Form = Annotated[TypedForm, Depends(posted)]
AT = "/musts/new/first"
STRENGTHS = (
    ("8 %", say("light, about 8 % vol")),
    ("12 %", say("like most wine, about 12 % vol")),
    ("14 %", say("strong, about 14 % vol")),
)
USUAL_STRENGTH = "12 %"
HONEY_AND_WATER = (
    {"kind": "honey", "amount": "solve", "stage": "primary"},
    {"kind": "water", "amount": "fill", "stage": "primary"},
)
ASKED = ("volume", "target", "yeast_kind", "shelf", "temperature")


@router.get(AT)
def ask(request: Request) -> Response:
    """The five questions, with the usual answer where there is one."""
    typed = TypedForm({"target": USUAL_STRENGTH, "temperature": usual_warmth()})
    return _shown(request, typed)


@router.post(AT)
def keep(request: Request, typed: Form) -> Response:
    """Keep the must and show its plan."""
    cellar, compose = cellar_of(request), request.app.state.compose
    here = compose.clock().astimezone(compose.local_zone)
    whole = whole_form(typed, bool(use.jars(cellar)), here)
    try:
        record = keep_must(cellar, None, whole, None)
    except InputError as error:
        field = must_field(error, whole)
        return _shown(request, typed, {field if field in ASKED else "all": said(error)})
    return RedirectResponse(f"/musts/{record.key}", 303)


def whole_form(typed: TypedForm, has_shelf: bool, now: datetime) -> TypedForm:
    """The must form that five answers fill: honey and water, fermented dry, by the cellar's shelf.

    Without a shelf it takes what is ticked, and generic kinds where nothing is.
    """
    jars = [jar for jar in typed.many.get("jar", []) if jar]
    shelf = CELLAR if has_shelf else OWN if jars else GENERIC
    answers = {name: typed.get(name) for name in ("volume", "target", "yeast_kind", "temperature")}
    fields = {
        "name": say("Mead of {day} {now:%B}", day=now.day, now=now),
        "finish": "dry",
        "shelf": shelf,
        **answers,
    }
    return TypedForm(fields, [dict(row) for row in HONEY_AND_WATER], {"jar": jars})


def _shown(request: Request, typed: TypedForm, errors: Mapping[str, str] | None = None) -> Response:
    return show_form(
        request,
        "first_must.html",
        stamp="",
        errors=errors,
        action=AT,
        typed=typed,
        strengths=STRENGTHS,
        yeasts=list(lists.yeast_options()),
        nutrients=lists.nutrient_options(),
        shelf_words=shelf_words(cellar_of(request)),
        **unit_hints(),
    )
