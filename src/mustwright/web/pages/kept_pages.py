"""Which page of a must is as it was made before: it is shown again, and not made again.

A page of a must is made of its sheet, the shelf, the maker's own protocols, the house and the units
in which it is said; of the language spoken; of the address asked for, which names everything else;
and, behind a passphrase, of the session whose forms it carries. While all of these are the same, so
is the page.
None of these pages says a time.

A page that does say times is made of something that is good for a minute, such as the view of a
batch: it is shown again as long as that is the very same (`kept_while`). Most of what the page of a
batch tells is the same in the next minute: what it tells is worked out then and compared, and only
its pictures are put in anew where nothing else differs (`kept_while_told`).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass, is_dataclass, replace
from functools import lru_cache, wraps
from typing import Any

from fastapi import Request
from starlette.responses import HTMLResponse

from mustwright.compose import Compose
from mustwright.errors import MustwrightError
from mustwright.kinetics.ready import is_ready
from mustwright.languages import ENGLISH, code_spoken
from mustwright.services.batch.cache import memory_of
from mustwright.services.cached_forecasts import told_by
from mustwright.texts import Text
from mustwright.unit_system import chosen
from mustwright.web.render import FORM_TOKEN

LONGEST_QUERY = 500
_OF_PAGES = __name__.partition(".pages")[0]


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
    """
    return kept_while_told(same, request, depends_on, lambda: Telling(None, {}, make))


@dataclass(frozen=True)
class Telling:
    """What a page tells, before it is made.

    Parameters
    ----------
    facts : mapping of str to object or None
        All that its template is given, but the pictures; None where pages cannot be compared.
    pictures : mapping of str to str
        By what `make` writes in their place.
    make : callable
        Makes it of the facts.
    """

    facts: Mapping[str, object] | None
    pictures: Mapping[str, str]
    make: Callable[[], HTMLResponse]


@dataclass(frozen=True)
class ShownPage:
    """A page as it was made, cut at the places of what is put in.

    Parameters
    ----------
    same : object
        What it tells of.
    parts : tuple of bytes
        Text and names of places in turn, text first and last.
    """

    same: object
    facts: Mapping[str, object] | None
    parts: tuple[bytes, ...]
    pictures: Mapping[bytes, bytes]

    @classmethod
    def made(
        cls, told: tuple[object, Mapping[str, object] | None], body: bytes, path: bytes,
        pictures: Mapping[bytes, bytes], places: Iterable[bytes],
    ) -> ShownPage:  # fmt: skip
        """Cut at its places, and at its own path: what is left stands on other pages too."""
        parts: list[bytes] = []
        for k, part in enumerate(_cut(body, (*pictures, *places))):
            if k % 2:
                parts.append(part)
                continue
            for text in part.split(path):
                parts += [_shared(text), path]
            parts.pop()
        return cls(*told, tuple(parts), pictures)

    @property
    def size_bytes(self) -> int:
        """At most what it takes of memory, without what it tells of: pages share some parts."""
        return sum(map(len, self.parts)) + sum(map(len, self.pictures.values()))

    def body(self, fresh: Mapping[bytes, bytes]) -> bytes:
        """The page with what is put in."""
        put_in = {**self.pictures, **fresh}
        return b"".join(
            put_in.get(part, part) if k % 2 else part for k, part in enumerate(self.parts)
        )


def kept_while_told(
    same: object,
    request: Request,
    depends_on: Hashable,
    tell: Callable[[], Telling],
    fresh: Mapping[str, str] | None = None,
) -> HTMLResponse:
    """A page, made once for what it tells; its pictures may be others each time.

    Parameters
    ----------
    same : object
        What is told of; while it is the very same, nothing is asked.
    depends_on : hashable
        What else the page is made of, but its path, units and language chosen, and the session.
    tell : callable
        Works out what it tells. Two tellings are compared by their English: in another language
        each is made into a page.
    fresh : mapping of str to str or None
        Parts of it that are to be others each time, by what `make` writes in their place.
    """
    shown = memory_of(request.app.state.compose.ledger).shown
    token = getattr(request.state, FORM_TOKEN, None)
    language = code_spoken()
    key = request.url.path, token, chosen(), language, depends_on
    new = _in_bytes(fresh or {})
    held: ShownPage | None = shown.get(key)
    if held is not None and held.same is same:
        return HTMLResponse(held.body(new))
    telling = tell()
    pictures = _in_bytes(telling.pictures)
    facts = telling.facts if language == ENGLISH else None
    if held is not None and facts is not None and held.facts == facts and is_ready():
        page = replace(held, same=same, pictures=pictures)
    else:
        made = telling.make()
        if made.status_code != 200:
            return made
        path = request.url.path.encode()
        page = ShownPage.made((same, _plain(facts)), bytes(made.body), path, pictures, new)
    if is_ready():
        shown.keep(key, page)
    return HTMLResponse(page.body(new))


def _in_bytes(texts: Mapping[str, str]) -> dict[bytes, bytes]:
    return {place.encode(): text.encode() for place, text in texts.items()}


def _plain(value: Any) -> Any:
    """What is equal to it and takes less memory: texts without how they were made."""
    kind = type(value)
    if kind is Text:
        return str(value)
    if kind in (list, tuple):
        return kind([_plain(one) for one in value])
    if kind is dict:
        return {name: _plain(one) for name, one in value.items()}
    if not (is_dataclass(value) and kind.__module__.startswith(_OF_PAGES)):
        return value  # others are kept elsewhere, or small
    made = object.__new__(kind)
    made.__dict__.update(_plain(vars(value)))
    return made


@lru_cache(maxsize=1024)
def _shared(part: bytes) -> bytes:
    """The same text as on another page."""
    return part


def _cut(body: bytes, places: Iterable[bytes]) -> tuple[bytes, ...]:
    """A page at its places; what their names begin with alike is looked for first, quickly."""
    names = list(places)
    if not names:
        return (body,)
    first, last = min(names), max(names)
    alike = next((k for k, (a, b) in enumerate(zip(first, last, strict=False)) if a != b), 0)
    ends = b"|".join(re.escape(name[alike:]) for name in names)
    return tuple(re.split(b"(" + re.escape(first[:alike]) + b"(?:" + ends + b"))", body))


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
