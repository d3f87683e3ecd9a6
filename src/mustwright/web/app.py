"""How do the pages fit together: routes, guards, static files and the words for errors."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.resources import files

from anyio import to_thread
from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.responses import Response
from starlette.types import Scope

from mustwright import __version__
from mustwright.compose import Compose
from mustwright.web import errors
from mustwright.web.access import Access, Locked, OwnForms
from mustwright.web.api import batches
from mustwright.web.guards import BoundedWork, PagesComeFirst, SameOrigin, SecurityHeaders
from mustwright.web.intake import BodyLimit
from mustwright.web.pages import (
    acidity,
    compare,
    compiling,
    convert,
    finish,
    finish_record,
    first_must,
    health,
    home,
    house,
    login,
    looking_back,
    must_form,
    must_text,
    offline,
    plan,
    protocols,
    reading_matter,
    rehydrate,
    shelf,
    sources,
    tailor,
    tasting,
    trials,
    units,
    what_if,
)
from mustwright.web.pages.batch import (
    all_batches,
    batch_page,
    entry,
    importing,
    links,
    lots,
    paper,
    record,
    replan,
    start_batch,
    table,
    write_entry,
)
from mustwright.web.spoken import SpokenLanguage
from mustwright.web.units import ChosenUnits

PAGES = (
    start_batch, all_batches, batch_page, write_entry, entry, importing, replan, paper, record,
    table, links, lots, home, health, login, first_must, must_form, must_text, compare, what_if,
    tailor, acidity, rehydrate, plan, protocols, shelf, convert, finish, finish_record, sources,
    reading_matter, house, tasting, trials, looking_back, units, offline, compiling,
)  # fmt: skip


class RevalidatedFiles(StaticFiles):
    """Static files that a browser caches, but checks (by ETag) before each use."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """The file, with permission to cache it."""
        response = await super().get_response(path, scope)
        response.headers["Cache-Control"] = "no-cache"
        return response


# Pages are work for the processor, and Python lets one thread work at a time: with many of them
# each answer waits for all the others, and handing over costs a third more. A second one works
# while the first waits for the disk.
THREADS = 2


@asynccontextmanager
async def _few_threads(_app: FastAPI) -> AsyncIterator[None]:
    """How many requests are answered at once; the others wait in the order they came."""
    to_thread.current_default_thread_limiter().total_tokens = THREADS
    yield


def create_app(compose: Compose, access: Access | None = None) -> FastAPI:
    """The application over one composition root; open to this machine alone unless told so."""
    access = access or Access()
    app = FastAPI(
        title="Mustwright",
        version=__version__,
        docs_url=None,
        redoc_url=None,
        lifespan=_few_threads,
    )
    app.state.compose = compose
    app.state.access = access
    # The most frequent requests are matched first. The routes themselves, since a router within a
    # router looks through its routes twice for each request, and within another one four times.
    for router in (batches.router, batches.feed_router, *(page.router for page in PAGES)):
        app.router.routes.extend(router.routes)
    static = files("mustwright.web") / "static"
    app.mount("/static", RevalidatedFiles(directory=str(static)), name="static")
    errors.register(app)
    # The one added last comes first: nobody's body is read before it is known who sends it.
    app.add_middleware(BoundedWork)
    app.add_middleware(ChosenUnits, compose=compose)
    app.add_middleware(OwnForms)
    app.add_middleware(BodyLimit)
    app.add_middleware(Locked, compose=compose, access=access)
    app.add_middleware(SameOrigin)
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=list(access.hosts), www_redirect=False)
    app.add_middleware(SpokenLanguage, compose=compose)
    app.add_middleware(SecurityHeaders)
    app.add_middleware(PagesComeFirst, compose=compose)
    return app
