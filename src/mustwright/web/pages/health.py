"""Are the pages up, can the cellar be read, is the forecast compiled."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse

from mustwright import __version__
from mustwright.errors import MustwrightError
from mustwright.kinetics.ready import how_far, state
from mustwright.texts import say
from mustwright.web.intake import IS_STRANGER

router = APIRouter()


@router.get("/health")
def health(request: Request) -> JSONResponse:
    """200 when the cellar can be read and written, 503 with the reason when it cannot.

    Answered without a login: it says nothing of what is in the cellar.
    """
    try:
        request.app.state.compose.cellar.answers()
    except MustwrightError as error:
        is_stranger = getattr(request.state, IS_STRANGER, False)
        reason = say("The cellar cannot be reached.") if is_stranger else error.text
        failing = {"status": "failing", "reason": reason}
        return JSONResponse(failing, 503, {"Retry-After": "5"})
    said: dict[str, object] = {"status": "ok", "version": __version__, "forecast": state()}
    if state() == "compiling":
        part, left_s = how_far()
        said["compiling"] = {"part": round(part, 3), "left_s": round(left_s)}
    if jumped := getattr(request.app.state.compose.clock, "jumped", ""):
        said["clock"] = jumped
    return JSONResponse(said)
