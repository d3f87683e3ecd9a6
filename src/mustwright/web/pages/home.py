"""What is due today across all batches, and what else is in the cellar: the first page."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from mustwright.compose import Compose
from mustwright.nutrition.choose import SHORT_MG_L
from mustwright.planning import plan_text
from mustwright.services.batch.cache import every_batch, for_all
from mustwright.services.cached_forecasts import Outlook, outlooks, told_of
from mustwright.services.records import copy_sheet
from mustwright.services.repository import Record
from mustwright.services.units import was_asked
from mustwright.texts import say
from mustwright.web.pages.batch.shared import due_now
from mustwright.web.pages.kept_pages import kept_while
from mustwright.web.pages.plan import watch_out
from mustwright.web.pages.render_values import put_away, show
from mustwright.web.pages.sought import Sought, found
from mustwright.web.pages.units import READY_MADE, SCALES
from mustwright.web.pictures.feed_line import small_line
from mustwright.web.units import own_units

router = APIRouter(include_in_schema=False)
SHOWN_DUE, SHOWN_MUSTS = 4, 4
STATES = {"all": say("all musts"), "new": say("without a batch"), "begun": say("with a batch")}
SORTS = {"changed": say("last changed"), "name": say("name")}


@router.get("/")
def home(request: Request, gone: str = "") -> HTMLResponse:
    """Batches due today, the worst first; then the musts last changed, with what each wants."""
    compose: Compose = request.app.state.compose
    due = due_now(compose)
    records = _newest_first(compose.cellar.records("sheet"))
    strips, batches = records[:SHOWN_MUSTS], _batches(compose)
    is_asked = bool(own_units(request.headers)) or was_asked(compose.ledger)
    told = (
        told_of(compose.cellar, strips, compose.house_for()),
        tuple(batches.get(record.key, 0) for record in strips),
        len(records),
        is_asked,
    )

    def make() -> HTMLResponse:
        return show(
            request,
            "home.html",
            due=due,
            today=due.today[:SHOWN_DUE],
            later=due.later[:SHOWN_DUE],
            looks=_strips(compose, strips, batches),
            must_count=len(records),
            gone=put_away(gone),
            scales=SCALES,
            ready_made=() if is_asked else READY_MADE,
        )

    return make() if request.url.query else kept_while(due, request, told, make)


@router.get("/musts")
def musts_page(request: Request) -> HTMLResponse:
    """Every must, or those that hold the words sought."""
    compose: Compose = request.app.state.compose
    sought = Sought.of(request, STATES, SORTS)
    begun = _batches(compose)
    left = [
        record
        for record in _newest_first(compose.cellar.records("sheet"))
        if sought.holds(f"{record.name} {record.text}")
        and sought.state in ("all", "begun" if begun[record.key] else "new")
    ]
    shown = found(sought, left, (lambda r: r.name.lower()) if sought.sort == "name" else None)
    return show(
        request,
        "musts.html",
        looks=_strips(compose, shown.items, begun),
        shown=shown,
        sought=sought,
        states=STATES,
        sorts=SORTS,
    )


@router.post("/musts/{slug}/copy")
def copy(request: Request, slug: str) -> Response:
    """The same must under another name, to be changed."""
    record = copy_sheet(request.app.state.compose.cellar, slug)
    return RedirectResponse(f"/musts/{record.key}/edit", 303)


def _newest_first(records: list[Record]) -> list[Record]:
    return sorted(records, key=lambda record: record.updated_at, reverse=True)


def _batches(compose: Compose) -> Counter[str]:
    """How many batches were started from each must."""
    ledger, stamp = compose.ledger, compose.ledger.stamp()
    return for_all(
        ledger,
        "batches of each must",
        stamp,
        lambda: Counter(batch.sheet for batch in every_batch(ledger, stamp)),
    )


def _strips(
    compose: Compose, records: Sequence[Record], begun: Mapping[str, int] | None = None
) -> list[dict[str, object]]:
    house, batches = compose.house_for(), _batches(compose) if begun is None else begun
    return [
        _strip(look) | {"batches": batches.get(look.record.key, 0)}
        for look in outlooks(compose.cellar, records, house)
    ]


def _strip(look: Outlook) -> dict[str, object]:
    if look.result is None:
        return {"record": look.record, "result": None, "error": getattr(look.error, "text", "")}
    nitrogen = look.result.plan.nitrogen
    short = nitrogen.short_mg_l.value
    third = plan_text.third_break(look.result, look.result.plan)
    return {
        "record": look.record,
        "result": look.result,
        "is_ranked": look.is_ranked,
        "warnings": watch_out(look.result),
        "steps": plan_text.next_steps(look.result, plan_text.is_mixed(look.record.text)),
        "line": small_line(look.result.plan, third, look.record.key),
        "short": say("{short:.0f} mg N/L short", short=short)
        if short > SHORT_MG_L
        else say("Meets the need for nitrogen"),
    }
