"""What does a person read when something goes wrong: the only place where errors become pages."""

from __future__ import annotations

from collections.abc import Sequence

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import Response

from mustwright.errors import ConflictError, InputError, MustwrightError
from mustwright.planning.field_words import note_in_words
from mustwright.services.repository import CellarAwayError, MissingRecordError, UnwritableError
from mustwright.texts import say
from mustwright.time_budget import TooMuchWorkError
from mustwright.web.guards import SECURITY_HEADERS
from mustwright.web.intake import BODY, SAFE_METHODS, form_pairs
from mustwright.web.render import FORM_TOKEN, error_page

TITLES = {
    404: say("Page not found"),
    405: say("That cannot be done here"),
    409: say("Someone else has changed this"),
    422: say("That cannot be used"),
    500: say("Something went wrong here"),
    503: say("The cellar cannot be reached"),
    507: say("Nothing was written"),
}


def register(app: FastAPI) -> None:
    """Give every kind of error its page."""
    app.exception_handler(MustwrightError)(_refused)
    app.exception_handler(RequestValidationError)(_unreadable)
    app.exception_handler(HTTPException)(_http)
    app.exception_handler(Exception)(_defect)


def out_of_reach(
    request: Request, error: MustwrightError, typed: Sequence[tuple[str, str]] = ()
) -> Response:
    """The cellar cannot be written, or not be reached: why, and the form as it was typed."""
    status = 503
    if isinstance(error, UnwritableError) and request.method not in SAFE_METHODS:
        status = 507
    answer = error_page(request, status, TITLES[status], error.text, typed=typed)
    retry_s = error.retry_s if isinstance(error, CellarAwayError) else 60
    answer.headers["Retry-After"] = str(retry_s)
    return answer


async def _typed(request: Request) -> list[tuple[str, str]]:
    """What was typed into the form that came, but secrets."""
    pairs = await form_pairs(request.scope, getattr(request.state, BODY, b""))
    return [(name, value) for name, value in pairs if name not in (FORM_TOKEN, "passphrase")]


async def _refused(request: Request, error: MustwrightError) -> Response:
    if isinstance(error, (UnwritableError, CellarAwayError)):
        return out_of_reach(request, error, await _typed(request))
    status = 422
    if isinstance(error, ConflictError):
        status = 409
    elif isinstance(error, MissingRecordError):
        status = 404
    said = note_in_words(error.text)
    described: dict[str, str | None] | None = None
    if isinstance(error, InputError):
        described = {
            "field": error.field,
            "requirement": error.requirement,
            "got": error.got if isinstance(error.got, str) else str(error.got),
            "message": said,
        }
    typed = await _typed(request) if isinstance(error, TooMuchWorkError) else ()
    return error_page(request, status, TITLES[status], said, described, typed)


async def _unreadable(request: Request, error: RequestValidationError) -> Response:
    wrong = "; ".join(
        f"{'.'.join(str(part) for part in e['loc'][1:]) or 'body'}: {e['msg']}"
        for e in error.errors()
    )
    return error_page(request, 422, TITLES[422], wrong)


async def _http(request: Request, error: HTTPException) -> Response:
    title = TITLES.get(error.status_code, say("That did not work"))
    answer = error_page(request, error.status_code, title, _detail(request, error))
    answer.headers.update(error.headers or {})
    return answer


def _detail(request: Request, error: HTTPException) -> str:
    if error.status_code == 404 and error.detail == "Not Found":
        return say("There is nothing at {path}.", path=request.url.path)
    return f"{error.detail}."


async def _defect(request: Request, _error: Exception) -> Response:
    """The traceback goes to the terminal; this answer is made outside the other guards."""
    detail = say("Everything saved before is still there. The terminal shows the details.")
    answer = error_page(request, 500, TITLES[500], detail)
    answer.headers.update(SECURITY_HEADERS)
    return answer
