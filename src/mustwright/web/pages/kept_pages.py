"""Which page of a must is as it was made before: it is shown again, and not made again.

A page of a must is made of its sheet, the shelf, the maker's own protocols, the house and the units
in which it is said; of the language spoken; of the address asked for, which names everything else;
and, behind a passphrase, of the session whose forms it carries. While all of these are the same, so
is the page.
None of these pages says a time.

A page that does say times is made of something that is good for a minute, such as the view of a
batch: it is shown again as long as that is the very same (`kept_while`).
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from functools import wraps
from typing import Any

from fastapi import Request
from starlette.responses import HTMLResponse

from mustwright.compose import Compose
from mustwright.errors import MustwrightError
from mustwright.kinetics.ready import is_ready
from mustwright.languages import code_spoken
from mustwright.services.batch.cache import memory_of
from mustwright.services.cached_forecasts import told_by
from mustwright.unit_system import chosen
from mustwright.web.render import FORM_TOKEN

LONGEST_QUERY = 500


def kept(make: Callable[..., HTMLResponse]) -> Callable[..., HTMLResponse]:
    """A page of a must, made by a function of the request and the must's short name, once."""

    @wraps(make)
    def answer(request: Request, slug: str, **asked: Any) -> HTMLResponse:
        compose: Compose = request.app.state.compose
        key = _all_it_depends_on(request, compose, slug)
        if key is None:
            return make(request, slug, **asked)
        pages = memory_of(compose.ledger).pages
        body = pages.get(key)
        if body is not None:
            return HTMLResponse(body)
        made = make(request, slug, **asked)
        # The cellar may have been written while the page was made.
        if made.status_code == 200 and key == _all_it_depends_on(request, compose, slug):
            pages.keep(key, bytes(made.body))
        return made

    return answer


def kept_while(
    same: object,
    request: Request,
    depends_on: Hashable,
    make: Callable[[], HTMLResponse],
    fresh: Mapping[str, str] | None = None,
) -> HTMLResponse:
    """A page, made once for the very same thing that it tells of.

    Parameters
    ----------
    same : object
        What is told; another one as soon as anything about it, or the time it says, is another.
    depends_on : hashable
        What else the page is made of, but its path, units and language chosen, and the session.
    make : callable
        Makes it.
    fresh : mapping of str to str or None
        Parts of it that are to be others each time, by what `make` writes in their place.
    """
    shown = memory_of(request.app.state.compose.ledger).shown
    token = getattr(request.state, FORM_TOKEN, None)
    key = request.url.path, token, chosen(), code_spoken(), depends_on
    held = shown.get(key)
    if held is not None and held[0] is same:
        body = held[1]
    else:
        made = make()
        if made.status_code != 200:
            return made
        body = bytes(made.body)
        if is_ready():
            shown.keep(key, (same, body))
    for place, text in (fresh or {}).items():
        body = body.replace(place.encode(), text.encode())
    return HTMLResponse(body)


def _all_it_depends_on(request: Request, compose: Compose, slug: str) -> Hashable | None:
    """What the page is made of; None where it cannot be kept."""
    query = request.url.query
    if not is_ready() or len(query) > LONGEST_QUERY:
        return None
    record = compose.cellar.record("sheet", slug)
    try:
        told = told_by(compose.cellar, record.text, record.name, compose.house_for())
    except MustwrightError:
        return None
    token = getattr(request.state, FORM_TOKEN, None)
    return request.url.path, query, token, record, told, code_spoken()
