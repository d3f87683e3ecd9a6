"""One form for what a cellar keeps: a new one, changes, putting away and bringing back."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from starlette.responses import RedirectResponse, Response

from mustwright.errors import ConflictError, InputError
from mustwright.services.repository import Cellar, Record, RecordKind
from mustwright.web.forms.typed import TypedForm, number_of, posted, said
from mustwright.web.pages.render_values import show, show_form

Form = Annotated[TypedForm, Depends(posted)]
TRY = "try"  # the button that works a form out without keeping it
WHOLE = ("all", "text")  # fields whose errors name what they are about


@dataclass(frozen=True)
class RecordForm:
    """How one kind of record is written; addresses hold ``{key}`` where the record's stands.

    Parameters
    ----------
    new_at, change_at, kept_at, gone_at : str
        Addresses of an empty form, of a filled one, of where to go once it is kept, and of where
        to go once it is put away; without the last it is not put away here.
    headings : tuple of str
        Of a new one and of a change.
    blank : callable
        An empty form and the text under it.
    fill : callable
        The form as a record fills it; `InputError` where the form cannot hold it.
    keep : callable
        Check what was typed and keep it, under a key and a version where it was there before.
    field : callable
        The form field that an error stands beside.
    choices : callable
        What else the template shows, by what was typed and what is wrong.
    text_at : str
        Where a record is changed that the form cannot hold.
    answer : str
        Template of what is worked out from a form before it is kept; it is all that is sent to a
        page that asks while it is being typed into.
    """

    kind: RecordKind
    template: str
    new_at: str
    change_at: str
    kept_at: str
    headings: tuple[str, str]
    blank: Callable[[Request], tuple[TypedForm, str]]
    fill: Callable[[Record], TypedForm]
    keep: Callable[[Cellar, str | None, TypedForm, int | None], Record]
    field: Callable[[InputError, TypedForm], str]
    choices: Callable[[Cellar, TypedForm, Mapping[str, str]], Mapping[str, Any]] = lambda *_: {}
    gone_at: str = ""
    text_at: str = ""
    answer: str = ""


def add_routes(router: APIRouter, form: RecordForm) -> None:
    """Give a page's router the addresses of a form."""

    @router.get(form.new_at)
    def new(request: Request) -> Response:
        typed, base = form.blank(request)
        return _shown(request, form, None, typed, base, "")

    @router.post(form.new_at)
    def keep_new(request: Request, typed: Form) -> Response:
        return _kept(request, form, None, typed)

    @router.get(form.change_at)
    def change(request: Request, key: str) -> Response:
        record = cellar_of(request).record(form.kind, key)
        try:
            typed = form.fill(record)
        except InputError:
            if not form.text_at:
                raise
            return RedirectResponse(form.text_at.format(key=key), 303)
        return _shown(request, form, key, typed, record.text, str(record.version))

    @router.post(form.change_at)
    def keep_changes(request: Request, key: str, typed: Form) -> Response:
        return _kept(request, form, key, typed)

    if form.gone_at:
        place = form.new_at.removesuffix("new") + "{key}"

        @router.post(f"{place}/delete")
        def put_away(request: Request, key: str, typed: Form) -> Response:
            cellar_of(request).delete(form.kind, key, number_of(typed, "version"))
            return RedirectResponse(form.gone_at.format(key=key), 303)

        @router.post(f"{place}/restore")
        def bring_back(request: Request, key: str) -> Response:
            cellar_of(request).restore(form.kind, key)
            return RedirectResponse(form.kept_at.format(key=key), 303)


def cellar_of(request: Request) -> Cellar:
    """The cellar that the pages show."""
    cellar: Cellar = request.app.state.compose.cellar
    return cellar


def _kept(request: Request, form: RecordForm, key: str | None, typed: TypedForm) -> Response:
    """Keep what was typed, add a row, or say what is wrong; nothing typed is lost."""
    cellar, base, version = cellar_of(request), typed.get("base"), typed.get("version")
    if typed.get("do") == "row":
        typed.rows.append({})
        return _shown(request, form, key, typed, base, version)
    if form.answer and typed.get("do") == TRY:
        if typed.get("fragment"):
            return show(request, form.answer, **form.choices(cellar, typed, {}))
        return _shown(request, form, key, typed, base, version)
    try:
        record = form.keep(cellar, key, typed, number_of(typed, "version") if key else None)
    except ConflictError:
        if key is None:
            raise
        now = cellar.record(form.kind, key)
        return _shown(request, form, key, typed, base, str(now.version), theirs=now.text)
    except InputError as error:
        field = form.field(error, typed)
        errors = {field: error.text if field in WHOLE else said(error)}
        return _shown(request, form, key, typed, base, version, errors)
    return RedirectResponse(form.kept_at.format(key=record.key), 303)


def _shown(
    request: Request,
    form: RecordForm,
    key: str | None,
    typed: TypedForm,
    base: str,
    version: str,
    errors: Mapping[str, str] | None = None,
    theirs: str = "",
) -> Response:
    return show_form(
        request,
        form.template,
        stamp=version,
        errors=errors,
        theirs=theirs,
        heading=form.headings[key is not None],
        action=form.change_at.format(key=key) if key else form.new_at,
        key=key,
        typed=typed,
        base=base,
        **form.choices(cellar_of(request), typed, errors or {}),
    )
