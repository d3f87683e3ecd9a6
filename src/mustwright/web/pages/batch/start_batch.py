"""Start a batch from a must's plan; rename it, delete it, bring it back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import RedirectResponse, Response

from mustwright.batch.entry_fields import moment_typed
from mustwright.batch.view import BatchRecord
from mustwright.errors import ConflictError, InputError
from mustwright.services.batch.start import start_planned
from mustwright.services.cached_forecasts import foreseen_plan
from mustwright.services.repository import Record
from mustwright.texts import say
from mustwright.unit_system import speak_of
from mustwright.web.forms.typed import TypedForm, number_of, said
from mustwright.web.pages.batch.batch_page import shown
from mustwright.web.pages.batch.shared import Desk, Form
from mustwright.web.pages.plan import names
from mustwright.web.pages.render_values import show_form

router = APIRouter(include_in_schema=False)
LISTED = 200


# Starting -------------------------------------------------------------------------------------


@router.get("/musts/{slug}/start")
def ask_to_start(
    request: Request, slug: str, protocol: Annotated[str, Query(max_length=80)] = ""
) -> Response:
    """Name, protocol and when the yeast went in."""
    desk = Desk(request)
    record = desk.cellar.record("sheet", slug)
    speak_of(record.text)
    at = desk.now.astimezone(desk.zone).strftime("%Y-%m-%dT%H:%M")
    chosen = protocol
    if not chosen:
        found = foreseen_plan(desk.cellar, record.text, record.name, house=desk.house)
        chosen = found.plan.protocol
    return _form(
        request, desk, record, TypedForm({"name": record.name, "protocol": chosen, "at": at})
    )


@router.post("/musts/{slug}/start")
def start(request: Request, slug: str, typed: Form) -> Response:
    """Start a batch that follows the plan, and go straight to its page."""
    desk = Desk(request)
    record = desk.cellar.record("sheet", slug)
    speak_of(record.text)
    try:
        started = _started(desk, record, typed)
    except InputError as error:
        known = ("name", "protocol", "at")
        field = f"start-{error.field}" if error.field in known else "start-all"
        return _form(request, desk, record, typed, {field: said(error)})
    return RedirectResponse(f"/batches/{started.slug}", 303)


def _started(desk: Desk, record: Record, typed: TypedForm) -> BatchRecord:
    pitched: datetime | None = None
    if not typed.get("not_yet"):
        pitched = moment_typed(typed.get("at"), desk.now, desk.zone)
    name, protocol = typed.get("name").strip(), typed.get("protocol") or None
    return start_planned(
        desk.cellar, desk.ledger, record, name, protocol, now=desk.now, pitched_at=pitched,
        house=desk.house, as_written=bool(typed.get("as_written")),
    )  # fmt: skip


def _form(
    request: Request,
    desk: Desk,
    record: Record,
    typed: TypedForm,
    errors: Mapping[str, str] | None = None,
) -> Response:
    return show_form(
        request,
        "batch_start.html",
        stamp=str(record.version),
        errors=errors,
        record=record,
        typed=typed,
        protocols=names(desk.cellar),
    )


@router.post("/batches/{slug}/rename")
def rename(request: Request, slug: str, typed: Form) -> Response:
    """Change the name people see."""
    desk = Desk(request)
    name = typed.get("name").strip()
    if not 0 < len(name) <= 120:
        wrong = said(InputError("name", say("needs a name of 1 to 120 characters"), name))
        return shown(request, desk, slug, typed={"rename": typed}, errors={"rename-name": wrong})
    try:
        desk.ledger.rename(slug, name, number_of(typed, "version"))
    except ConflictError as error:
        return shown(request, desk, slug, typed={"rename": typed}, conflict=error.text)
    return RedirectResponse(f"/batches/{slug}", 303)


@router.post("/batches/{slug}/delete")
def delete(request: Request, slug: str, typed: Form) -> Response:
    """Hide a batch; it can be brought back."""
    desk = Desk(request)
    try:
        desk.ledger.delete_batch(slug, number_of(typed, "version"))
    except ConflictError as error:
        return shown(request, desk, slug, conflict=error.text)
    return RedirectResponse(f"/batches?gone={slug}", 303)


@router.post("/batches/{slug}/restore")
def restore(request: Request, slug: str) -> Response:
    """Bring a batch back."""
    Desk(request).ledger.restore_batch(slug)
    return RedirectResponse(f"/batches/{slug}", 303)
