"""Which of many does a list show: those that hold the words, of one state, sorted, page by page."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request

PAGE = 10  # what fits on a page that a thumb scrolls
LONGEST = 80


@dataclass(frozen=True)
class Sought:
    """What someone asked a list for; every part may be missing.

    Parameters
    ----------
    words : str
        All of them have to occur.
    state, sort : str
        By the names that the list offers; the first is the usual one.
    page : int
        From 1.
    """

    words: str = ""
    state: str = ""
    sort: str = ""
    page: int = 1

    @classmethod
    def of(cls, request: Request, states: Mapping[str, str], sorts: Mapping[str, str]) -> Sought:
        """Read from an address; what the list does not offer is left out."""
        query = request.query_params
        state, sort, page = (query.get(name, "") for name in ("state", "sort", "page"))
        return cls(
            query.get("q", "").strip()[:LONGEST],
            state if state in states else next(iter(states)),
            sort if sort in sorts else next(iter(sorts)),
            min(int(page), 1_000_000)
            if page.isascii() and page.isdecimal() and page[:7] == page
            else 1,
        )

    def holds(self, text: str) -> bool:
        """Whether a text has every word sought."""
        plain = text.lower()
        return all(word in plain for word in self.words.lower().split())

    def address(self, page: int) -> str:
        """The query of another page of the same list."""
        return urlencode({"q": self.words, "state": self.state, "sort": self.sort, "page": page})


@dataclass(frozen=True)
class Shown:
    """One page of what was found."""

    items: Sequence[Any]
    count: int
    page: int
    pages: int


def found(sought: Sought, every: Sequence[Any], order: Callable[[Any], Any] | None) -> Shown:
    """The page asked for, of what is left after search and filter; in order, if one is given."""
    ordered = list(every) if order is None else sorted(every, key=order)
    pages = max(-(-len(ordered) // PAGE), 1)
    page = min(max(sought.page, 1), pages)
    return Shown(ordered[(page - 1) * PAGE : page * PAGE], len(ordered), page, pages)
