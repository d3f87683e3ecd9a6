"""Who may come in over the network: a passphrase, sessions, form tokens, and who is let past."""

from __future__ import annotations

import hmac
import re
from dataclasses import dataclass, field
from urllib.parse import quote

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from mustwright.compose import Compose
from mustwright.services.access import Patience, form_token, is_session
from mustwright.services.batch.tokens import DEVICE, token_of
from mustwright.services.repository import CellarAwayError, UnwritableError
from mustwright.texts import say
from mustwright.web.errors import out_of_reach
from mustwright.web.intake import BODY, IS_STRANGER, SAFE_METHODS, form_pairs
from mustwright.web.render import FORM_TOKEN, error_page

COOKIE = "mustwright_session"
HEADER = "x-form-token"
LOGIN, HEALTH = "/login", "/health"
KEPT = "/kept"  # of what is kept on the device that asks: nothing of the cellar is on it
OPEN_PAGES = (LOGIN, HEALTH, KEPT)
# The same for everyone who may ask: may be cached.
SHARED_PATHS = ("/static/", "/calendar/", "/manifest.webmanifest", "/service-worker.js")
OPEN_PATHS = SHARED_PATHS
SESSION = "session"  # in the state of a request: the secret of its session
BATCH_PATH = re.compile(r"/api/batches/([^/]+)(?:/|$)")
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
    is_secure : bool
        Whether they are served by https: the cookie of a session is sent over nothing else then.
    """

    is_locked: bool = False
    hosts: tuple[str, ...] = LOOPBACK_HOSTS
    address: str = ""
    patience: Patience = field(default_factory=Patience)
    is_secure: bool = False


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
    a call needs no form token. Nothing of a body is read here.
    """

    def __init__(self, app: ASGIApp, compose: Compose, access: Access) -> None:
        self.app, self.compose, self.access = app, compose, access

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http" or not self.access.is_locked:
            await self.app(scope, receive, send)
            return
        headers, path = Headers(scope=scope), scope["path"]
        state = scope.setdefault("state", {})
        if not path.startswith(SHARED_PATHS):
            send = _not_stored(send)
        try:
            secret = self._session(headers)
            if secret:
                state[SESSION], state[FORM_TOKEN] = secret, form_token(secret)
            elif not self._is_device(path, headers):
                state[IS_STRANGER] = True
        except (CellarAwayError, UnwritableError) as error:
            await out_of_reach(Request(scope), error)(scope, receive, send)
            return
        is_open = path in OPEN_PAGES or path.startswith(OPEN_PATHS)
        if state.get(IS_STRANGER) and not is_open:
            await _to_login(scope, path)(scope, receive, send)
            return
        await self.app(scope, receive, send)

    def _session(self, headers: Headers) -> str:
        """The secret of a session that lasts; empty where there is none."""
        secret = session_of(headers)
        return secret if secret and is_session(self.compose.ledger, secret) else ""

    def _is_device(self, path: str, headers: Headers) -> bool:
        """Whether a call is about one batch and carries the token of a device for it."""
        batch, secret = BATCH_PATH.match(path), bearer_of(headers)
        if batch is None or not secret:
            return False
        return token_of(self.compose.ledger, secret, DEVICE, batch[1]) is not None


def _not_stored(send: Send) -> Send:
    """No browser and no proxy keeps a page that is behind a login."""

    async def send_marked(message: Message) -> None:
        if message["type"] == "http.response.start":
            MutableHeaders(scope=message)["Cache-Control"] = "no-store"
        await send(message)

    return send_marked


def _to_login(scope: Scope, path: str) -> Response:
    """To the door; a body that may still be coming is not waited for."""
    if path.startswith("/api/") or scope["method"] not in SAFE_METHODS:
        error = {
            "field": None,
            "requirement": None,
            "got": None,
            "message": say("A session is needed."),
        }
        return JSONResponse({"error": error}, 401, {"Connection": "close"})
    return RedirectResponse(f"/login?then={quote(path, safe='/')}", status_code=303)


class OwnForms:
    """Refuses a change that carries a session but not the token of its forms."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request; its body was read, and limited, before."""
        secret = scope.get("state", {}).get(SESSION) if scope["type"] == "http" else None
        if secret is None or scope["method"] in SAFE_METHODS or scope["path"] == LOGIN:
            await self.app(scope, receive, send)
            return
        came = await _form_token_of(scope)
        if not hmac.compare_digest(came.encode(errors="replace"), form_token(secret).encode()):
            words = say("The form is from another session: open the page again and send it again.")
            page = error_page(Request(scope), 403, say("This request was refused"), words)
            await page(scope, receive, send)
            return
        await self.app(scope, receive, send)


async def _form_token_of(scope: Scope) -> str:
    headers, body = Headers(scope=scope), scope["state"].get(BODY, b"")
    if HEADER in headers:
        return headers[HEADER]
    return dict(await form_pairs(scope, body)).get(FORM_TOKEN, "")
