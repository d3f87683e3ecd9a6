"""Who may come in over the network: a passphrase, sessions, form tokens, and who is let past."""

from __future__ import annotations

import hmac
import re
from dataclasses import dataclass, field
from urllib.parse import parse_qs, quote

from starlette.datastructures import Headers
from starlette.formparsers import MultiPartException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from mustwright.compose import Compose
from mustwright.services.access import Patience, form_token, is_session
from mustwright.services.batch.tokens import DEVICE, token_of
from mustwright.web.render import FORM_TOKEN, error_page

COOKIE = "mustwright_session"
HEADER = "x-form-token"
OPEN_PATHS = ("/static/", "/calendar/")
BATCH_PATH = re.compile(r"/api/batches/([^/]+)(?:/|$)")
LARGEST_PART = 6_000_000  # a pasted table; the whole body has been limited before
LOOPBACK_HOSTS = ("127.0.0.1", "localhost", "[::1]")


@dataclass
class Access:
    """How the pages are guarded.

    Parameters
    ----------
    is_locked : bool
        Whether a session is needed; False on loopback.
    hosts : tuple of str
        Host names under which the pages may be asked for.
    address : str
        Where a phone finds them; empty on loopback.
    """

    is_locked: bool = False
    hosts: tuple[str, ...] = LOOPBACK_HOSTS
    address: str = ""
    patience: Patience = field(default_factory=Patience)


def session_of(headers: Headers) -> str:
    """The secret in the session cookie; empty when there is none."""
    for part in headers.get("cookie", "").split(";"):
        name, _, value = part.strip().partition("=")
        if name == COOKIE:
            return value
    return ""


def bearer_of(headers: Headers) -> str:
    """The token of an ``Authorization: Bearer`` header; empty when there is none."""
    scheme, _, secret = headers.get("authorization", "").partition(" ")
    return secret.strip() if scheme.lower() == "bearer" else ""


class Locked:
    """Lets in anyone with a session; devices and calendars use their own tokens.

    A bearer token opens only its own batch. Browsers never add that header by themselves, so such
    a call needs no form token.
    """

    def __init__(self, app: ASGIApp, compose: Compose, access: Access) -> None:
        self.app, self.compose, self.access = app, compose, access

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http" or not self.access.is_locked:
            await self.app(scope, receive, send)
            return
        headers, path = Headers(scope=scope), scope["path"]
        is_open = path == "/login" or path.startswith(OPEN_PATHS)
        if is_open or self._is_device(path, headers):
            await self.app(scope, receive, send)
            return
        secret = session_of(headers)
        if not secret or not is_session(self.compose.ledger, secret):
            await _to_login(scope, path)(scope, receive, send)
            return
        if scope["method"] not in ("GET", "HEAD", "OPTIONS"):
            receive, came = await _form_token_of(scope, receive)
            if not hmac.compare_digest(came, form_token(secret)):
                words = "The form is from another session: open the page again and send it anew."
                await error_page(Request(scope), 403, "This request was refused", words)(
                    scope, receive, send
                )
                return
        scope.setdefault("state", {})["form_token"] = form_token(secret)
        await self.app(scope, receive, send)

    def _is_device(self, path: str, headers: Headers) -> bool:
        """Whether a call is about one batch and carries the token of a device for it."""
        batch, secret = BATCH_PATH.match(path), bearer_of(headers)
        if batch is None or not secret:
            return False
        return token_of(self.compose.ledger, secret, DEVICE, batch[1]) is not None


def _to_login(scope: Scope, path: str) -> Response:
    if path.startswith("/api/") or scope["method"] not in ("GET", "HEAD"):
        error = {"field": None, "requirement": None, "got": None, "message": "A session is needed."}
        return JSONResponse({"error": error}, status_code=401)
    return RedirectResponse(f"/login?then={quote(path, safe='/')}", status_code=303)


async def _form_token_of(scope: Scope, receive: Receive) -> tuple[Receive, str]:
    """The form token of a request, and its body to be read again; its size was limited before."""
    headers = Headers(scope=scope)
    if HEADER in headers:
        return receive, headers[HEADER]
    body = await _whole(receive)
    again = _replay(body)
    kind = headers.get("content-type", "")
    if kind.startswith("application/x-www-form-urlencoded"):
        found = parse_qs(body.decode("latin-1"), max_num_fields=1000).get(FORM_TOKEN, [""])
        return again, found[0]
    if kind.startswith("multipart/form-data"):
        try:
            form = await Request(scope, _replay(body)).form(
                max_files=4, max_fields=100, max_part_size=LARGEST_PART
            )
        except MultiPartException:
            return again, ""
        value = form.get(FORM_TOKEN)
        await form.close()
        return again, value if isinstance(value, str) else ""
    return again, ""


async def _whole(receive: Receive) -> bytes:
    body = bytearray()
    while True:
        message = await receive()
        body += message.get("body", b"")
        if message["type"] == "http.disconnect" or not message.get("more_body", False):
            return bytes(body)


def _replay(body: bytes) -> Receive:
    pending = [{"type": "http.request", "body": body, "more_body": False}]

    async def receive_again() -> dict[str, object]:
        return pending.pop() if pending else {"type": "http.disconnect"}

    return receive_again
