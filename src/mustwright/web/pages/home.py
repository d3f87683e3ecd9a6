"""What is due today across all batches, and what else is in the cellar: the first page."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from mustwright.compose import Compose
from mustwright.nutrition.choose import SHORT_MG_L
from mustwright.planning import plan_text as say
from mustwright.services.cached_forecasts import Outlook, outlooks
from mustwright.services.units import was_asked
from mustwright.web.pages.batch.shared import due_now
from mustwright.web.pages.render_values import put_away, show
from mustwright.web.pages.units import READY_MADE
from mustwright.web.pictures.feed_line import small_line

router = APIRouter(include_in_schema=False)
SHOWN_DUE = 12


@router.get("/")
def home(request: Request, gone: str = "") -> HTMLResponse:
    """Batches due today, the worst first; then every kept must with what it wants next."""
    compose: Compose = request.app.state.compose
    due = due_now(compose)
    return show(
        request,
        "home.html",
        due=due,
        today=due.today[:SHOWN_DUE],
        looks=[_strip(o) for o in outlooks(compose.cellar, compose.house_for())],
        gone=put_away(gone),
        ready_made=() if was_asked(compose.ledger) else READY_MADE,
    )


def _strip(look: Outlook) -> dict[str, object]:
    if look.result is None:
        return {"record": look.record, "result": None, "error": str(look.error)}
    nitrogen = look.result.plan.nitrogen
    short = nitrogen.short_mg_l.value
    third = say.third_break(look.result, look.result.plan)
    return {
        "record": look.record,
        "result": look.result,
        "is_ranked": look.is_ranked,
        "steps": say.next_steps(look.result, say.is_mixed(look.record.text)),
        "line": small_line(look.result.plan, third, look.record.key),
        "short": f"{short:.0f} mg N/L short"
        if short > SHORT_MG_L
        else "Meets the need for nitrogen",
    }
