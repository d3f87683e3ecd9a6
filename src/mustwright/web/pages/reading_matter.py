"""What there is to read: the words of the trade, and the handbook of one batch."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from mustwright.data.glossary import glossary
from mustwright.web.pages.render_values import show

router = APIRouter(include_in_schema=False)


@router.get("/glossary")
def glossary_page(request: Request) -> Response:
    """Every entry, by the alphabet."""
    return show(request, "glossary.html", entries=list(glossary().values()))


@router.get("/handbook")
def handbook_page(request: Request) -> Response:
    """One batch from honey to glass, on at most ten printed pages."""
    return show(request, "handbook.html")
