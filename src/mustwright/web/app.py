"""How do the pages hang together: routes, guards, static files and the words for errors."""

from __future__ import annotations

from importlib.resources import files

from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.responses import Response
from starlette.types import Scope

from mustwright import __version__
from mustwright.compose import Compose
from mustwright.web import errors
from mustwright.web.guards import BodyLimit, SameOrigin, SecurityHeaders
from mustwright.web.pages import (
    acidity,
    compare,
    convert,
    finish,
    health,
    home,
    must_form,
    must_text,
    plan,
    protocols,
    shelf,
    sources,
    what_if,
)

PAGES = (
    home, health, must_form, must_text, compare, what_if, acidity, plan, protocols, shelf, convert,
    finish, sources,
)  # fmt: skip
HOSTS = ("127.0.0.1", "localhost", "[::1]")


class RevalidatedFiles(StaticFiles):
    """Static files that a browser keeps, but asks about (by ETag) before each use."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """The file, with leave to keep it."""
        response = await super().get_response(path, scope)
        response.headers["Cache-Control"] = "no-cache"
        return response


def create_app(compose: Compose) -> FastAPI:
    """The application over one composition root."""
    app = FastAPI(title="Mustwright", version=__version__, docs_url=None, redoc_url=None)
    app.state.compose = compose
    for page in PAGES:
        app.include_router(page.router)
    static = files("mustwright.web") / "static"
    app.mount("/static", RevalidatedFiles(directory=str(static)), name="static")
    errors.register(app)
    # The one added last is met first.
    app.add_middleware(BodyLimit)
    app.add_middleware(SameOrigin)
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=list(HOSTS), www_redirect=False)
    app.add_middleware(SecurityHeaders)
    return app
