"""Every batch: due today, quiet, closed, deleted; searched, sorted and filtered; and taken in."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from mustwright.batch import log_text as words
from mustwright.batch.view import BatchRecord
from mustwright.errors import InputError
from mustwright.must.gravity_text import gravity_text
from mustwright.services.batch.export_json import import_json
from mustwright.services.batch.importing import begin_import
from mustwright.services.batch.worklist import DueItem
from mustwright.texts import join, literal, say
from mustwright.web.forms.typed import said
from mustwright.web.pages.batch.shared import Desk, due_now, sent_with_file, text_of
from mustwright.web.pages.render_values import put_away, show
from mustwright.web.pages.sought import Sought, found

router = APIRouter(include_in_schema=False)
AT_ONCE_BYTES = 1_000_000  # of a file that is imported within a second
SHOWN_TODAY, SHOWN_LATER, SHOWN_CLOSED = 8, 4, 6
STATES = {
    "all": say("all batches"),
    "going": say("going on"),
    "today": say("due today"),
    "trouble": say("in trouble"),
    "closed": say("bottled or ended"),
}
SORTS = {
    "due": say("most urgent"),
    "name": "name",
    "gravity": say("gravity, highest first"),
    "changed": say("last entry"),
}


@router.get("/batches")
def all_batches(request: Request, gone: str = "") -> Response:
    """Every batch: due today, quiet, closed, put away; or those that were sought."""
    return _list(request, Desk(request), put_away(gone))


def _list(
    request: Request, desk: Desk, gone: str = "", errors: Mapping[str, str] | None = None
) -> Response:
    due = due_now(request.app.state.compose)
    going = {item.slug for item in (*due.today, *due.later)}
    records = desk.ledger.batches()
    closed = [r for r in records if r.slug not in going]
    closed.sort(key=lambda r: r.updated_at, reverse=True)
    deleted = sorted(desk.ledger.batches(deleted=True), key=lambda r: r.updated_at, reverse=True)
    sought = Sought.of(request, STATES, SORTS)
    asked = {"q", "state", "sort", "page"} & set(request.query_params)
    shown = None
    if asked:
        changed = {r.slug: r.updated_at for r in records}
        every = _sought(sought, (*due.today, *due.later), [_closed(desk, one) for one in closed])
        shown = found(sought, every, _order(sought.sort, changed))
    return show(
        request,
        "batches.html",
        422 if errors else 200,
        due=due,
        today=due.today[:SHOWN_TODAY],
        later=due.later[:SHOWN_LATER],
        closed=[_closed(desk, one) for one in closed[:SHOWN_CLOSED]],
        closed_count=len(closed),
        deleted=deleted,
        gone=gone,
        errors=errors or {},
        sought=sought,
        shown=shown,
        states=STATES,
        sorts=SORTS,
    )


def _sought(sought: Sought, going: tuple[DueItem, ...], closed: list[dict[str, Any]]) -> list[Any]:
    """Lines of the list that have the words and the state asked for."""
    if sought.state == "closed":
        going = ()
    elif sought.state == "today":
        going = tuple(item for item in going if item.is_today)
    elif sought.state == "trouble":
        going = tuple(item for item in going if item.is_trouble)
    left: list[Any] = [
        item
        for item in going
        if sought.holds(f"{item.name} {item.phase} {item.sentence} {item.finding}")
    ]
    if sought.state in ("all", "closed"):
        left += [one for one in closed if sought.holds(f"{one['name']} {one['words']}")]
    return left


def _order(sort: str, changed: Mapping[str, datetime]) -> Callable[[Any], Any] | None:
    def of(line: Any, name: str) -> Any:
        return line[name] if isinstance(line, dict) else getattr(line, name)

    if sort == "name":
        return lambda line: of(line, "name").lower()
    if sort == "gravity":
        return lambda line: -(of(line, "gravity") or 0.0)
    if sort == "changed":
        return lambda line: -changed[of(line, "slug")].timestamp()
    return None  # the most urgent first, as they are


def _closed(desk: Desk, record: BatchRecord) -> dict[str, Any]:
    digest = json.loads(record.digest) if record.digest else {}
    gravity = digest.get("gravity")
    facts = [
        literal(str(digest.get("phase", "")), "phase"),
        ""
        if gravity is None
        else say("last read {gravity_text}", gravity_text=gravity_text(gravity)),
        say("about {alcohol:.1f} % vol", alcohol=digest["alcohol_pct"]) if digest else "",
        say("last entry {moment}", moment=words.moment(record.updated_at, desk.zone, desk.now)),
    ]
    said_of = join("; ", [s for s in facts if s])
    return {"slug": record.slug, "name": record.name, "gravity": gravity, "words": said_of}


@router.post("/batches")
async def take_in(request: Request) -> Response:
    """A batch from its JSON file, whole or not at all."""
    desk = Desk(request)
    sent = await sent_with_file(request, "file", 5)
    if sent is None:
        error = {"take-file": say("Needs one file. Got something else.")}
        return await run_in_threadpool(_list, request, desk, "", error)
    return await run_in_threadpool(_take_in, request, desk, sent[1])


def _take_in(request: Request, desk: Desk, content: bytes) -> Response:
    try:
        if len(content) > AT_ONCE_BYTES:
            job = begin_import(desk.ledger, text_of(content))
            return RedirectResponse(f"/imports/{job.id}", 303)
        record = import_json(desk.ledger, text_of(content))
    except InputError as error:
        where = "" if error.field == "file" else f"{error.field}: "
        return _list(request, desk, errors={"take-file": where + said(error)})
    return RedirectResponse(f"/batches/{record.slug}", 303)
