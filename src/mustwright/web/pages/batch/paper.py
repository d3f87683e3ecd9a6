"""The sheet beside the fermenter, to print: plan, next step, rows to fill in, cautions."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from mustwright.batch.paper import paper_of
from mustwright.web.pages.batch.shared import Desk
from mustwright.web.pages.render_values import show

router = APIRouter(include_in_schema=False)


@router.get("/batches/{slug}/paper")
def paper_page(request: Request, slug: str) -> Response:
    """The sheet; the browser prints it on A4 or Letter alike."""
    desk = Desk(request)
    view = desk.view(slug)
    paper = paper_of(view, desk.zone)
    return show(request, "batch_paper.html", record=view.record, paper=paper)
