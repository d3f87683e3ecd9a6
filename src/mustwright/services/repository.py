"""What does a cellar keep, and how is it asked for: the records and the port the use cases see."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from mustwright.errors import MustwrightError


class MissingRecordError(MustwrightError):
    """There is no record of that name, or it was deleted."""

    def __init__(self, kind: str, key: str) -> None:
        self.kind = kind
        self.key = key
        super().__init__(f"no {kind} named {key!r} is kept here")


@dataclass(frozen=True)
class SheetRecord:
    """A must sheet as the maker wrote it.

    Parameters
    ----------
    slug : str
        Its short name in addresses; never changes.
    name : str
        Its name for people.
    text : str
        The sheet, TOML.
    version : int
        Goes up by one with each change, deletion and restoration.
    updated_at : datetime
        When it last changed [UTC].
    """

    slug: str
    name: str
    text: str
    version: int
    updated_at: datetime


@dataclass(frozen=True)
class ProtocolRecord:
    """A feeding protocol of the maker's own; `text` is TOML."""

    id: str
    text: str
    version: int
    updated_at: datetime


@dataclass(frozen=True)
class ShelfRecord:
    """A nutrient on the maker's shelf; `text` is a TOML table of the facts on its label."""

    id: str
    text: str
    version: int
    updated_at: datetime


class Cellar(Protocol):
    """Where records are kept.

    Every save and deletion names the version that was read; when the record has moved on since,
    `ConflictError` is raised and nothing is written. ``version=None`` makes a new record; the id of
    a deleted one may be used again. What is not there raises `MissingRecordError`. Lists are in the
    order of the key.
    """

    def sheets(self) -> list[SheetRecord]:
        """Every sheet that is not deleted."""
        ...

    def sheet(self, slug: str) -> SheetRecord:
        """One sheet."""
        ...

    def save_sheet(
        self, slug: str | None, name: str, text: str, version: int | None
    ) -> SheetRecord:
        """Write a sheet; without a slug, a new one is made from the name."""
        ...

    def delete_sheet(self, slug: str, version: int) -> None:
        """Hide a sheet."""
        ...

    def restore_sheet(self, slug: str) -> SheetRecord:
        """Bring a deleted sheet back as it was."""
        ...

    def protocols(self) -> list[ProtocolRecord]:
        """Every protocol of the maker's own that is not deleted."""
        ...

    def protocol(self, id: str) -> ProtocolRecord:
        """One protocol."""
        ...

    def save_protocol(self, id: str, text: str, version: int | None) -> ProtocolRecord:
        """Write a protocol."""
        ...

    def delete_protocol(self, id: str, version: int) -> None:
        """Hide a protocol."""
        ...

    def restore_protocol(self, id: str) -> ProtocolRecord:
        """Bring a deleted protocol back as it was."""
        ...

    def nutrients(self) -> list[ShelfRecord]:
        """Every nutrient on the shelf that is not deleted."""
        ...

    def nutrient(self, id: str) -> ShelfRecord:
        """One nutrient."""
        ...

    def save_nutrient(self, id: str, text: str, version: int | None) -> ShelfRecord:
        """Write a nutrient."""
        ...

    def delete_nutrient(self, id: str, version: int) -> None:
        """Take a nutrient off the shelf."""
        ...

    def restore_nutrient(self, id: str) -> ShelfRecord:
        """Bring a deleted nutrient back as it was."""
        ...

    def has_flag(self, name: str) -> bool:
        """Whether something that happens once has happened."""
        ...

    def set_flag(self, name: str) -> None:
        """Note that it has happened; noting it again changes nothing."""
        ...


def slug_from_name(name: str, taken: set[str]) -> str:
    """A short name for addresses, different from every one in `taken`.

    Examples
    --------
    >>> slug_from_name("Über-Heather, 2nd run!", set())
    'uber-heather-2nd-run'
    >>> slug_from_name("Heather", {"heather"})
    'heather-2'
    """
    stem = _plain(name)[:60].strip("-") or "sheet"
    slug, number = stem, 2
    while slug in taken:
        slug, number = f"{stem}-{number}", number + 1
    return slug


def _plain(name: str) -> str:
    """Lower-case letters and digits of ASCII, joined by single hyphens."""
    letters = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", letters).strip("-")
