"""What is in the cellar: the first page."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from mustwright.web.render import page

router = APIRouter(include_in_schema=False)


@router.get("/")
def home(request: Request) -> HTMLResponse:
    """The sheets that are kept."""
    return page(request, "home.html", sheets=request.app.state.compose.cellar.sheets())
