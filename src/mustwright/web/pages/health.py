"""Are the pages up, can the cellar be read, is the forecast compiled."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse

from mustwright import __version__
from mustwright.errors import MustwrightError
from mustwright.kinetics.ready import state

router = APIRouter()


@router.get("/health")
def health(request: Request) -> JSONResponse:
    """200 when the cellar answers, 503 with the reason when it does not."""
    try:
        request.app.state.compose.cellar.records("sheet")
    except MustwrightError as error:
        return JSONResponse({"status": "failing", "reason": str(error)}, status_code=503)
    return JSONResponse({"status": "ok", "version": __version__, "forecast": state()})
