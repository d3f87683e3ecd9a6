"""What does a cellar keep, and how is it asked for: the records and the port the use cases see."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal, Protocol

from mustwright.errors import MustwrightError
from mustwright.texts import say

_KIND_WORDS = {
    "sheet": say("sheet"), "protocol": say("protocol"), "nutrient": say("nutrient"),
    "batch": say("batch"), "entry": say("entry"), "photo": say("photo"), "token": say("token"),
    "lot": say("lot"), "key": say("key"), "import": say("import"), "trial": say("trial"),
    "tasting": say("tasting"), "forgotten batch": say("forgotten batch"),
}  # fmt: skip


def kind_word(kind: str) -> str:
    """What a kind of record is called within a sentence."""
    return _KIND_WORDS.get(kind, kind)


class MissingRecordError(MustwrightError):
    """There is no record of that name, or it was deleted."""

    def __init__(self, kind: str, key: str) -> None:
        self.kind = kind
        self.key = key
        super().__init__(say("no {kind} named {key!r} is kept here", kind=kind_word(kind), key=key))


TAKEN_BY_PAGES = "new"  # the address where a new record is made
RecordKind = Literal["sheet", "protocol", "nutrient"]


class UnwritableError(MustwrightError):
    """The cellar cannot be written: its disk is full, read-only or failing; nothing was written."""


class CellarAwayError(MustwrightError):
    """The cellar cannot be reached just now, or is busy; nothing was written, so send it again.

    Parameters
    ----------
    retry_s : int
        When it may answer again [s].
    """

    def __init__(self, message: str, retry_s: int = 5) -> None:
        self.retry_s = retry_s
        super().__init__(message)


class ForeignFileError(MustwrightError):
    """A copy that this cellar did not make; it is taken only where that is asked for."""


@dataclass(frozen=True)
class Record:
    """A must sheet, a protocol or a nutrient's label facts, as the maker wrote it.

    Parameters
    ----------
    key : str
        Its short name in addresses and files; never changes.
    text : str
        The TOML.
    version : int
        Goes up by one with each change, deletion and restoration.
    updated_at : datetime
        When it last changed [UTC].
    name : str
        Of a sheet, its name for people; the others carry theirs in the text.
    """

    key: str
    text: str
    version: int
    updated_at: datetime
    name: str = ""


@dataclass(frozen=True)
class Restored:
    """What a restoration did.

    Parameters
    ----------
    rows : dict of str to int
        By table.
    aside : Path or None
        Where the cellar that was there is kept.
    sealed : bool
        Whether the copy carried a seal, which then was whole.
    own : bool
        Whether this cellar made it.
    """

    rows: dict[str, int]
    aside: Path | None
    sealed: bool
    own: bool


class Cellar(Protocol):
    """Where records are kept.

    Every save and deletion names the version that was read; when the record has moved on since,
    `ConflictError` is raised and nothing is written. ``version=None`` makes a new record; the id of
    a deleted one may be used again. What is not there raises `MissingRecordError`. Lists are in the
    order of the key.
    """

    def records(self, kind: RecordKind) -> list[Record]:
        """Every record of a kind that is not deleted."""
        ...

    def record(self, kind: RecordKind, key: str) -> Record:
        """One record."""
        ...

    def save(
        self, kind: RecordKind, key: str | None, text: str, version: int | None, name: str = ""
    ) -> Record:
        """Write a record; without a key, a new one is made from the name."""
        ...

    def delete(self, kind: RecordKind, key: str, version: int) -> None:
        """Hide a record."""
        ...

    def restore(self, kind: RecordKind, key: str) -> Record:
        """Bring a deleted record back as it was."""
        ...

    def answers(self) -> None:
        """Return if the cellar can be read and written.

        Raises
        ------
        UnwritableError, CellarAwayError
        """
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


_SLUG = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")


def is_slug(text: str) -> bool:
    """Whether a text can be a short name: what `slug_from_name` may give."""
    return len(text) <= 80 and _SLUG.fullmatch(text) is not None


def _plain(name: str) -> str:
    """Lower-case letters and digits of ASCII, joined by single hyphens."""
    letters = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", letters).strip("-")
