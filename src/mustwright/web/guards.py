"""What may come in and what goes out with every answer: origin, security headers."""

from __future__ import annotations

from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from mustwright.compose import Compose
from mustwright.texts import say
from mustwright.time_budget import limited_to
from mustwright.web.intake import SAFE_METHODS
from mustwright.web.render import error_page

POLICY = {
    "default-src": "'none'",
    "style-src": "'self'",
    "img-src": "'self' data:",
    "font-src": "'self'",
    "script-src": "'self'",
    "worker-src": "'self'",
    "connect-src": "'self'",
    "manifest-src": "'self'",
    "form-action": "'self'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
}
SECURITY_HEADERS = {
    "Content-Security-Policy": "; ".join(f"{kind} {allowed}" for kind, allowed in POLICY.items()),
    "X-Content-Type-Options": "nosniff",
    # With no-referrer, browsers would send `Origin: null` with our own forms.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}


class PagesComeFirst:
    """Lets what works behind the pages know that somebody waits for an answer."""

    def __init__(self, app: ASGIApp, compose: Compose) -> None:
        self.app, self.compose = app, compose

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        with self.compose.pages_first.answering():
            await self.app(scope, receive, send)


# Of the processor, for one answer [s]; the fullest sheet that is taken needs under one.
ANSWER_S = 10.0


class SecurityHeaders:
    """Adds the headers above to every answer."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(SECURITY_HEADERS)
            await send(message)

        await self.app(scope, receive, send_guarded)


class BoundedWork:
    """Gives every answer a budget of processor time, so that none holds up the others for long.

    Parameters
    ----------
    seconds : float
        For each thread that works on it [s].
    """

    def __init__(self, app: ASGIApp, seconds: float = ANSWER_S) -> None:
        self.app, self.seconds = app, seconds

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        with limited_to(self.seconds):
            await self.app(scope, receive, send)


class SameOrigin:
    """Refuses a change that a page of another origin asks for."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "http" and scope["method"] not in SAFE_METHODS:
            headers = Headers(scope=scope)
            refusal = "" if _by_token(scope, headers) else not_same_origin(headers)
            if refusal:
                page = error_page(Request(scope), 403, say("This request was refused"), refusal)
                await page(scope, receive, send)
                return
        await self.app(scope, receive, send)


def _by_token(scope: Scope, headers: Headers) -> bool:
    """A call of a device: no browser adds a bearer token to a request by itself.

    If an Origin is sent all the same, it has to be ours.
    """
    bearer = headers.get("authorization", "").lower().startswith("bearer ")
    return bool(scope["path"].startswith("/api/") and bearer and "origin" not in headers)


def not_same_origin(headers: Headers) -> str:
    """Why a changing request does not come from our own pages; empty when it does.

    A phone on plain http sends no Sec-Fetch-Site, so Origin decides, which every browser sends
    with a form post.
    """
    origin, host = headers.get("origin"), headers.get("host", "")
    if origin is None:
        if headers.get("sec-fetch-site") == "same-origin":
            return ""
        return say("A change needs an Origin header equal to the address of these pages.")
    parts = urlsplit(origin)
    if parts.scheme in ("http", "https") and parts.netloc and parts.netloc == host:
        return ""
    return say("It came from a page of another origin.")
