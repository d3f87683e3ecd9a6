"""Take in a table of readings: paste or upload, say which column is which, look, then write."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from mustwright.batch import log_text as words
from mustwright.errors import ConflictError, InputError
from mustwright.services.batch.log_table import COLUMNS, Preview, head_of, import_csv, preview_csv
from mustwright.texts import say
from mustwright.web.forms.typed import said
from mustwright.web.pages.batch.shared import Desk, sent_with_file, text_of
from mustwright.web.pages.render_values import show

router = APIRouter(include_in_schema=False)
LARGEST_PART = 6_000_000
SHOWN_ROWS, SHOWN_PROBLEMS = 20, 30
LABELS = {
    "at": "When",
    "gravity": say("Gravity or Brix"),
    "temperature": say("Must temperature"),
    "ph": "pH",
    "ph_by": say("pH read with"),
    "note": "Note",
    "instrument": "Instrument",
    "sample": say("Temperature of the sample"),
    "calibration": say("Instrument marked for"),
    "kind": say("Kind of line"),
    "feed": say("Feed of the plan"),
    "items": say("Nutrients and grams"),
    "skipped": say("Feed skipped"),
    "what": "Event",
    "litres": "Litres",
    "id": say("Id of the line"),
}
MAPPED = tuple(name for name in LABELS if name in COLUMNS)


@dataclass
class _Sent:
    """What came with the form."""

    text: str = ""
    do: str = ""
    columns: dict[str, str] = field(default_factory=dict)
    error: str = ""


@router.get("/batches/{slug}/import")
def import_page(request: Request, slug: str) -> Response:
    """An empty form."""
    return _shown(request, Desk(request), slug, _Sent())


@router.post("/batches/{slug}/import")
async def import_table(request: Request, slug: str) -> Response:
    """Look at a table, or write what was looked at."""
    sent = await _sent(request)
    return await run_in_threadpool(_taken, request, Desk(request), slug, sent)


async def _sent(request: Request) -> _Sent:
    came = await sent_with_file(request, "file", 60, LARGEST_PART)
    if came is None:
        return _Sent(error=say("Needs a table of at most 5 MB."))
    typed, content = came
    columns = {name: typed.get(f"column-{name}") for name in MAPPED}
    sent = _Sent(typed.get("text"), typed.get("do"), {k: v for k, v in columns.items() if v})
    try:
        sent.text = (text_of(content) if content else sent.text).replace("\r\n", "\n")
    except InputError as error:
        sent.error = said(error)
    return sent


def _taken(request: Request, desk: Desk, slug: str, sent: _Sent) -> Response:
    desk.ledger.batch(slug)
    if sent.error or not sent.text.strip():
        words_ = sent.error or say(
            "Needs a table, pasted or chosen as a file. Nothing was typed or chosen."
        )
        return _shown(request, desk, slug, sent, errors={"table-text": words_})
    try:
        head = head_of(sent.text)
    except InputError as error:
        return _shown(request, desk, slug, sent, errors={"table-text": said(error)})
    try:
        preview = preview_csv(
            desk.ledger, slug, sent.text, now=desk.now, zone=desk.zone,
            columns={ours: theirs for ours, theirs in sent.columns.items() if theirs in head},
        )  # fmt: skip
        if sent.do == "write" and not preview.problems:
            written = import_csv(desk.ledger, slug, preview)
            return RedirectResponse(f"/batches/{slug}?took={len(written)}#log", 303)
    except InputError as error:
        name = f"table-column-{error.field}" if error.field in MAPPED else "table-text"
        return _shown(request, desk, slug, sent, head, errors={name: said(error)})
    except ConflictError as error:
        return _shown(request, desk, slug, sent, head, errors={"table-text": error.text})
    return _shown(request, desk, slug, sent, head, preview)


def _shown(
    request: Request,
    desk: Desk,
    slug: str,
    sent: _Sent,
    head: list[str] | None = None,
    preview: Preview | None = None,
    errors: Mapping[str, str] | None = None,
) -> Response:
    view = desk.view(slug)
    lower = {name.lower(): name for name in head or []}
    chosen = {name: sent.columns.get(name) or lower.get(name, "") for name in MAPPED}
    rows = []
    if preview is not None:
        rows = [(words.moment(e.at, desk.zone, desk.now), words.said(e.what, preview.plan))
                for e in preview.new[:SHOWN_ROWS]]  # fmt: skip
    return show(
        request,
        "batch_import.html",
        422 if errors or (preview is not None and preview.problems) else 200,
        record=view.record,
        text=sent.text,
        head=head,
        labels=[(name, LABELS[name]) for name in MAPPED],
        chosen=chosen,
        preview=preview,
        rows=rows,
        most_problems=SHOWN_PROBLEMS,
        errors=errors or {},
    )
