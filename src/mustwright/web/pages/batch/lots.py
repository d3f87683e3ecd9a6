"""The page of a lot code: what is in the bottle, and what its label said."""

from __future__ import annotations

from datetime import datetime

from fastapi import APIRouter, Request
from starlette.responses import Response

from mustwright.services.batch.lots import DELETED, trace
from mustwright.web.pages.batch.shared import Desk
from mustwright.web.pages.render_values import show

router = APIRouter(include_in_schema=False)


@router.get("/lots/{code}")
def lot_page(request: Request, code: str) -> Response:
    """Every bottling behind a lot code."""
    desk = Desk(request)
    found = trace(desk.ledger, code, desk.zone)

    def day(moment: datetime | None) -> str:
        return "" if moment is None else f"{moment.astimezone(desk.zone):%Y-%m-%d}"

    return show(request, "lot.html", code=found[0].code, lots=found, day=day, deleted_words=DELETED)
