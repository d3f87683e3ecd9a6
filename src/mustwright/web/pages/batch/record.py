"""On paper: the record of a batch from must to bottle, and labels for its vessels."""

from __future__ import annotations

import re
from typing import Annotated

import segno
from fastapi import APIRouter, Query, Request
from markupsafe import Markup
from starlette.responses import Response

from mustwright.batch.paper import day_alone, must_facts
from mustwright.batch.recipe import honeys
from mustwright.batch.record_sheet import record_of
from mustwright.texts import join
from mustwright.web.pages.batch import facts, view_model
from mustwright.web.pages.batch.shared import Desk
from mustwright.web.pages.render_values import show

router = APIRouter(include_in_schema=False)
MOST_LABELS = 24


@router.get("/batches/{slug}/record")
def record_page(request: Request, slug: str) -> Response:
    """The whole record, to print."""
    desk = Desk(request)
    view = desk.view(slug)
    return show(
        request,
        "batch_record.html",
        record=view.record,
        sheet=record_of(view, desk.zone),
        pictures=view_model.pictures(view) if view.progress.pitched else None,
        facts=facts.facts_of(view, desk.zone, None),
        next_step=view.step.sentence,
    )


@router.get("/batches/{slug}/labels")
def labels_page(
    request: Request, slug: str, count: Annotated[int, Query(ge=1, le=MOST_LABELS)] = 4
) -> Response:
    """Labels for vessels, to print and cut: name, honey, dates, and a code that opens the batch."""
    desk = Desk(request)
    view = desk.view(slug)
    base = request.app.state.access.address or str(request.base_url)
    known = dict(must_facts(view.progress, desk.zone))
    return show(
        request,
        "batch_labels.html",
        record=view.record,
        count=count,
        most=MOST_LABELS,
        honeys=join(", ", honeys(view.progress.plan)),
        pitched=day_alone(view.progress.pitched, desk.zone),
        gravity=known["Gravity at pitch"],
        yeast=view.progress.plan.yeast.name.lower(),
        volume=known["Volume"],
        code=code_of(f"{base.rstrip('/')}/batches/{slug}"),
    )


def code_of(address: str) -> Markup:
    """A QR code as a picture within the page."""
    svg = segno.make(address, error="m").svg_inline(border=2, light="#fff", omitsize=True)
    return Markup(re.sub(r"<svg ", '<svg aria-hidden="true" ', svg, count=1))
