"""Start a batch from a must's plan, and the list of all batches: going on, closed, put away."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from mustwright.batch import log_text as words
from mustwright.batch.entry_fields import moment_typed
from mustwright.batch.view import BatchRecord
from mustwright.errors import ConflictError, InputError
from mustwright.services.batch.export_json import import_json
from mustwright.services.batch.start import start_planned
from mustwright.services.cached_forecasts import foreseen_plan
from mustwright.services.repository import Record
from mustwright.unit_system import speak_of
from mustwright.web.forms.typed import TypedForm, number_of, said
from mustwright.web.pages.batch.batch_page import shown
from mustwright.web.pages.batch.shared import Desk, Form, due_now, sent_with_file, text_of
from mustwright.web.pages.plan import names
from mustwright.web.pages.render_values import put_away, show, show_form

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
        house=desk.house,
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


# The list -------------------------------------------------------------------------------------


@router.get("/batches")
def all_batches(request: Request, gone: str = "") -> Response:
    """Every batch: due today, quiet, closed, put away."""
    return _list(request, Desk(request), put_away(gone))


def _list(
    request: Request, desk: Desk, gone: str = "", errors: Mapping[str, str] | None = None
) -> Response:
    due = due_now(request.app.state.compose)
    going = {item.slug for item in (*due.today, *due.later)}
    closed = [r for r in desk.ledger.batches() if r.slug not in going]
    closed.sort(key=lambda r: r.updated_at, reverse=True)
    deleted = sorted(desk.ledger.batches(deleted=True), key=lambda r: r.updated_at, reverse=True)
    return show(
        request,
        "batches.html",
        422 if errors else 200,
        due=due,
        today=due.today[:LISTED],
        later=due.later[:LISTED],
        closed=[_closed(desk, one) for one in closed[:LISTED]],
        closed_count=len(closed),
        deleted=deleted[:LISTED],
        gone=gone,
        errors=errors or {},
    )


def _closed(desk: Desk, record: BatchRecord) -> dict[str, str]:
    digest = json.loads(record.digest) if record.digest else {}
    gravity = digest.get("gravity")
    facts = [
        "" if gravity is None else f"last read {gravity:.3f}",
        f"about {digest['alcohol_pct']:.1f} % vol" if digest else "",
        f"last entry {words.moment(record.updated_at, desk.zone, desk.now)}",
    ]
    return {"slug": record.slug, "name": record.name, "words": "; ".join(s for s in facts if s)}


@router.post("/batches")
async def take_in(request: Request) -> Response:
    """A batch from its JSON file, whole or not at all."""
    desk = Desk(request)
    sent = await sent_with_file(request, "file", 5)
    if sent is None:
        error = {"take-file": "Needs one file. What came: something else."}
        return await run_in_threadpool(_list, request, desk, "", error)
    return await run_in_threadpool(_take_in, request, desk, sent[1])


def _take_in(request: Request, desk: Desk, content: bytes) -> Response:
    try:
        record = import_json(desk.ledger, text_of(content))
    except InputError as error:
        where = "" if error.field == "file" else f"{error.field}: "
        return _list(request, desk, errors={"take-file": where + said(error)})
    return RedirectResponse(f"/batches/{record.slug}", 303)


@router.post("/batches/{slug}/rename")
def rename(request: Request, slug: str, typed: Form) -> Response:
    """Change the name people see."""
    desk = Desk(request)
    name = typed.get("name").strip()
    if not 0 < len(name) <= 120:
        wrong = said(InputError("name", "needs a name of 1 to 120 characters", name))
        return shown(request, desk, slug, typed={"rename": typed}, errors={"rename-name": wrong})
    try:
        desk.ledger.rename(slug, name, number_of(typed, "version"))
    except ConflictError as error:
        return shown(request, desk, slug, typed={"rename": typed}, conflict=str(error))
    return RedirectResponse(f"/batches/{slug}", 303)


@router.post("/batches/{slug}/delete")
def delete(request: Request, slug: str, typed: Form) -> Response:
    """Hide a batch; it can be brought back."""
    desk = Desk(request)
    try:
        desk.ledger.delete_batch(slug, number_of(typed, "version"))
    except ConflictError as error:
        return shown(request, desk, slug, conflict=str(error))
    return RedirectResponse(f"/batches?gone={slug}", 303)


@router.post("/batches/{slug}/restore")
def restore(request: Request, slug: str) -> Response:
    """Bring a batch back."""
    Desk(request).ledger.restore_batch(slug)
    return RedirectResponse(f"/batches/{slug}", 303)
