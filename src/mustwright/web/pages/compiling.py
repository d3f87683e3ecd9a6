"""Stop the first compiling of the forecast, or begin it again."""

from __future__ import annotations

from urllib.parse import urlsplit

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from mustwright.kinetics.ready import cache_folder, state, stop_compiling, warm_up_behind

router = APIRouter(include_in_schema=False)


@router.post("/forecast/stop")
def stop(request: Request) -> Response:
    """Stop it; every page works without a forecast."""
    stop_compiling()
    return _back(request)


@router.post("/forecast/compile")
def begin(request: Request) -> Response:
    """Begin again what was stopped."""
    if state() == "stopped":
        warm_up_behind(cache_folder(request.app.state.compose.home))
    return _back(request)


def _back(request: Request) -> Response:
    """To the page that asked, by its path on this server alone."""
    came = urlsplit(request.headers.get("referer", ""))
    path = came.path if came.path.startswith("/") and came.path[1:2] != "/" else "/"
    return RedirectResponse(f"{path}?{came.query}" if came.query else path, 303)
