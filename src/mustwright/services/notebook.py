"""What does the cellar keep of trials, tastings and what was learned: pages of one notebook."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

TRIAL, TASTING, LEARNED, FORGOTTEN, CLOSING = (
    "trial", "tasting", "learned", "forgotten", "closing",
)  # fmt: skip
KINDS = (TRIAL, TASTING, LEARNED, FORGOTTEN, CLOSING)


@dataclass(frozen=True)
class NotePage:
    """One page: a trial, a tasting, what a batch taught, a batch the house forgot.

    Parameters
    ----------
    kind : str
        One of the names above.
    key : str
        Its short name in addresses; never changes.
    content : str
        JSON.
    version : int
        Goes up by one with each change.
    updated_at : datetime
        When it last changed [UTC].
    """

    kind: str
    key: str
    content: str
    version: int
    updated_at: datetime


class Notebook(Protocol):
    """Where such pages are kept.

    Every save and removal names the version that was read; when the page has changed since,
    `ConflictError` is raised and nothing is written. What is not there raises `MissingRecordError`.
    """

    def pages(self, kind: str) -> list[NotePage]:
        """Every page of a kind, in the order of the key."""
        ...

    def versions(self, *kinds: str) -> tuple[tuple[str, str, int], ...]:
        """Kind, key and version of every page of some kinds: what was made from them still holds
        while these are the same.
        """
        ...

    def page(self, kind: str, key: str) -> NotePage:
        """One page."""
        ...

    def add_page(self, kind: str, name: str, content: str) -> NotePage:
        """A new page; its key is made from the name."""
        ...

    def save_page(self, kind: str, key: str, content: str, version: int | None) -> NotePage:
        """Write a page; ``version=None`` writes it whatever is there."""
        ...

    def remove_page(self, kind: str, key: str, version: int | None) -> None:
        """Take a page away for good; one that is not there is no error without a version."""
        ...
