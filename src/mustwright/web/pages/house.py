"""What was learned from your finished batches: from which, how sure, and what to forget."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from mustwright.compose import Compose
from mustwright.services import house as use
from mustwright.services.house_report import MEANING, NOTHING, house_sections, taught_sentence
from mustwright.web.pages.batch.shared import Form
from mustwright.web.pages.render_values import show

router = APIRouter(include_in_schema=False)
AT_ONCE = 4  # batches looked at for one press of the button: each takes a second or two


@router.get("/house")
def house_page(request: Request) -> Response:
    """The house and the batches behind it."""
    compose: Compose = request.app.state.compose
    view = use.house_view(compose.ledger, compose.notebook, compose.clock())
    return show(
        request,
        "house.html",
        rows=[(one, taught_sentence(one)) for one in view.batches],
        sections=house_sections(view),
        count=view.count,
        pending=sum(one.pending for one in view.batches),
        forgotten=any(one.is_forgotten for one in view.batches),
        meaning=MEANING if view.houses else NOTHING,
    )


@router.post("/house/learn")
def learn(request: Request) -> Response:
    """Look at a few of the batches that were not used yet."""
    compose: Compose = request.app.state.compose
    view = use.house_view(compose.ledger, compose.notebook, compose.clock())
    for one in [one for one in view.batches if one.pending][:AT_ONCE]:
        compose.learn_from(one.record.slug)
    return RedirectResponse("/house", 303)


@router.post("/house/forget")
def forget(request: Request, typed: Form) -> Response:
    """Leave a batch, or all, out of what was learned."""
    compose: Compose = request.app.state.compose
    use.forget(compose.ledger, compose.notebook, typed.get("batch") or None)
    return RedirectResponse("/house", 303)


@router.post("/house/remember")
def remember(request: Request, typed: Form) -> Response:
    """Learn from a forgotten batch again, or from all."""
    use.remember(request.app.state.compose.notebook, typed.get("batch") or None)
    return RedirectResponse("/house", 303)
