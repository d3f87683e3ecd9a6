"""Come in over the network: the passphrase, once for each phone; and a code that opens the page."""

from __future__ import annotations

import io
from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from mustwright.services.access import (
    SESSION_LASTS,
    close_others,
    close_session,
    is_passphrase,
    open_session,
)
from mustwright.texts import say
from mustwright.web.access import COOKIE, Access, session_of
from mustwright.web.render import page

router = APIRouter(include_in_schema=False)
FORM = Form(max_length=2000)


def _access(request: Request) -> Access:
    access: Access = request.app.state.access
    return access


def _back(then: str) -> str:
    """Where to go after signing in: a path of ours, never another site."""
    ours = then.startswith("/") and not then.startswith(("//", "/\\")) and "\\" not in then
    return then if ours and then.isprintable() else "/"


@router.get("/login")
def ask(request: Request, then: str = "/") -> Response:
    """The form; straight on if no passphrase is needed."""
    if not _access(request).is_locked:
        return RedirectResponse(_back(then), status_code=303)
    return page(request, "login.html", then=_back(then), wrong="")


@router.post("/login")
def come_in(
    request: Request,
    passphrase: Annotated[str, FORM] = "",
    then: Annotated[str, FORM] = "/",
) -> Response:
    """A session for the right passphrase; a growing wait after wrong ones."""
    access, compose = _access(request), request.app.state.compose
    if not access.is_locked:
        return RedirectResponse(_back(then), status_code=303)
    address = request.client.host if request.client else "unknown"
    if (wait := access.patience.admit(address)) > 0:
        words = say("Too many wrong attempts. Wait {wait:.0f} seconds.", wait=wait)
        answer = page(request, "login.html", 429, then=_back(then), wrong=words)
        answer.headers["Retry-After"] = f"{int(wait) + 1}"
        return answer
    if not is_passphrase(compose.ledger, passphrase):
        return page(request, "login.html", 401, then=_back(then), wrong=say("Wrong passphrase."))
    access.patience.succeeded(address)
    welcome = RedirectResponse(_back(then), status_code=303)
    welcome.set_cookie(
        COOKIE,
        open_session(compose.ledger, compose.clock()),
        max_age=int(SESSION_LASTS.total_seconds()),
        httponly=True,
        secure=access.is_secure,
        samesite="strict",
        path="/",
    )
    return welcome


@router.post("/logout")
def leave(request: Request) -> Response:
    """End this session."""
    close_session(request.app.state.compose.ledger, session_of(request.headers))
    answer = RedirectResponse("/login", status_code=303)
    answer.delete_cookie(COOKIE, path="/")
    return answer


@router.post("/logout/others")
def end_others(request: Request) -> Response:
    """End every session but this one."""
    compose = request.app.state.compose
    close_others(compose.ledger, session_of(request.headers), compose.clock())
    return RedirectResponse("/phone?ended=yes", status_code=303)


@router.get("/phone")
def phone(request: Request, ended: str = "") -> Response:
    """The code that opens these pages on a phone, and who is signed in."""
    access = _access(request)
    return page(
        request,
        "phone.html",
        address=access.address,
        is_locked=access.is_locked,
        ended=ended == "yes",
    )


@router.get("/phone.svg")
def code(request: Request) -> Response:
    """The same as a picture."""
    import segno

    address = _access(request).address or str(request.base_url)
    out = io.BytesIO()
    segno.make(address, error="m").save(out, kind="svg", scale=8, border=4, light="#fff")
    return Response(out.getvalue(), media_type="image/svg+xml")
