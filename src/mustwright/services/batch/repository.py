"""What does the cellar keep of a batch, and how is it asked for: records and the port."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from mustwright.batch.entries import Entry
from mustwright.batch.view import BatchRecord
from mustwright.errors import ConflictError
from mustwright.texts import say

KIND = "batch"


@dataclass(frozen=True)
class TokenRecord:
    """A key for a device or a calendar; only its hash is kept."""

    id: str
    batch: str | None
    purpose: str
    label: str
    created_at: datetime
    revoked_at: datetime | None = None


@dataclass(frozen=True)
class PhotoRecord:
    """A picture, re-encoded; `content` is empty where only the facts were asked for."""

    id: str
    batch: str
    media_type: str
    width: int
    height: int
    size_bytes: int
    sha256: str
    created_at: datetime
    content: bytes = b""


@dataclass(frozen=True)
class TakenIn:
    """A batch from elsewhere, to be kept as it was there.

    Parameters
    ----------
    slug : str
        Its short name there; the same here where it is free.
    entries : sequence of Entry
        With their places (going up) and the times at which they were kept there.
    """

    slug: str
    name: str
    sheet: str
    version: int
    updated_at: datetime
    entries: Sequence[Entry]
    photos: Sequence[PhotoRecord] = ()


class ChangedEntryError(ConflictError):
    """Someone changed the same entry meanwhile; it holds both versions, nothing was written.

    Parameters
    ----------
    mine : Entry
        What was about to be written.
    theirs : tuple of Entry
        What was written to the same entry since it was read.
    """

    def __init__(self, mine: Entry, theirs: Sequence[Entry]) -> None:
        self.mine = mine
        self.theirs = tuple(theirs)
        super().__init__(
            say(
                "this entry was changed since you opened it; both versions are kept "
                "apart and nothing was written"
            )
        )


class SameIdError(ConflictError):
    """An entry of this id is kept already and says something else."""

    def __init__(self, mine: Entry, theirs: Entry) -> None:
        self.mine = mine
        self.theirs = (theirs,)
        super().__init__(
            say("an entry with the id {id!r} is kept already and says otherwise", id=mine.id)
        )


class Ledger(Protocol):
    """Where batches and their logs are kept.

    Logs are only ever added to. An entry whose id is kept already is not written again: the same
    content is answered with the entry that is there, other content with `SameIdError`. What is not
    there raises `MissingRecordError`.
    """

    def batches(self, *, deleted: bool = False) -> list[BatchRecord]:
        """Every batch that is not deleted (or every one that is), in the order of the slug."""
        ...

    def batch(self, slug: str) -> BatchRecord:
        """One batch."""
        ...

    def one_moment(self) -> AbstractContextManager[object]:
        """Within it, everything this thread asks is as of one moment; that is faster, too.

        Do not write within it what has to be seen within it.
        """
        ...

    def stamp(self) -> str:
        """Changes whenever any batch, log or digest does."""
        ...

    def start(
        self,
        name: str,
        sheet: str,
        entries: Sequence[Entry],
        photos: Sequence[PhotoRecord] = (),
    ) -> BatchRecord:
        """A new batch with the first lines of its log, and its pictures."""
        ...

    def rename(self, slug: str, name: str, version: int) -> BatchRecord:
        """Change the name people see."""
        ...

    def delete_batch(self, slug: str, version: int) -> None:
        """Hide a batch with its log."""
        ...

    def restore_batch(self, slug: str) -> BatchRecord:
        """Bring a deleted batch back as it was."""
        ...

    def log(
        self, slug: str, after: int = 0, most: int | None = None, *, deleted: bool = False
    ) -> list[Entry]:
        """The log, oldest line first.

        Parameters
        ----------
        after : int
            Lines after this place in the log.
        most : int or None
            At most this many; all when None.
        deleted : bool
            Whether a deleted batch counts; otherwise it is not found.
        """
        ...

    def newest(
        self, slug: str, most: int, version: int, *, is_plain: bool = False, in_order: bool = False
    ) -> list[Entry]:
        """Lines of a log up to a version that its newest entries rest on, oldest first.

        With every correction, removal and restoration; enough to tell the latest `most` entries as
        they stand, and which line undo would take back. Where no line up to the version changes
        another (`is_plain`), changes are not looked for; where they also follow one another in time
        (`in_order`), the last lines are the latest.
        """
        ...

    def take_in(self, taken: TakenIn) -> BatchRecord:
        """A batch from elsewhere as it was there; refused where its first line is kept already."""
        ...

    def holding(self, ids: Sequence[str]) -> dict[str, str]:
        """By id of a line, the short name of the batch that holds it, put away or not."""
        ...

    def append_each(
        self,
        lines: Mapping[str, Sequence[Entry]],
        seen: Mapping[str, int] | None = None,
        photos: Sequence[PhotoRecord] = (),
    ) -> dict[str, list[Entry]]:
        """Add lines to several batches as `append` does, all or none."""
        ...

    def append(
        self,
        slug: str,
        entries: Sequence[Entry],
        seen: int | None = None,
        photos: Sequence[PhotoRecord] = (),
    ) -> list[Entry]:
        """Add lines, and the pictures that new ones among them show, all or none.

        Gives the lines back as kept. A line that lies ahead of the clock is refused
        (`mustwright.batch.clock.AHEAD`).

        Parameters
        ----------
        seen : int or None
            Version of the batch that was read. A correction, removal or restoration of an entry
            that was changed after it raises `ChangedEntryError`, and so does a plan when another
            plan came after it; other lines never conflict.
        """
        ...

    def keep_digest(self, slug: str, version: int, digest: str, cellar: str | None = None) -> None:
        """Save how a batch stands; ignored if it has moved on.

        Like everything that is worked out from a log and kept beside it, also ignored where the
        cellar it was worked out from (`cellar`, see `BatchRecord`) was replaced meanwhile.
        """
        ...

    def outlook(self, slug: str) -> str | None:
        """The forecast kept beside a batch's log, as it came; None before there is one."""
        ...

    def keep_outlook(
        self, slug: str, version: int, content: str, cellar: str | None = None
    ) -> None:
        """Keep a forecast made from that version; ignored where one of a later version is kept."""
        ...

    def gist(self, slug: str) -> tuple[bytes, list[Entry]] | None:
        """The gist kept beside a batch's log, and its lines but readings, notes and pictures.

        None before there is one.
        """
        ...

    def keep_gist(self, slug: str, version: int, content: bytes, cellar: str | None = None) -> None:
        """Keep a gist of that version; ignored where one of a later version is kept."""
        ...

    def listen(self, heard: Callable[[str], None]) -> None:
        """Call `heard` with the short name of a batch whenever its log has grown here."""
        ...

    def add_token(
        self, id: str, batch: str | None, purpose: str, label: str, sha256: str
    ) -> TokenRecord:
        """Keep the hash of a new token."""
        ...

    def tokens(self, batch: str | None) -> list[TokenRecord]:
        """Tokens of a batch, or those of the whole cellar; revoked ones too, oldest first."""
        ...

    def token_of(self, sha256: str) -> TokenRecord | None:
        """The token of a hash, unless it was revoked."""
        ...

    def revoke_token(self, id: str) -> TokenRecord:
        """End a token; ending it again changes nothing."""
        ...

    def add_photo(self, photo: PhotoRecord) -> PhotoRecord:
        """Keep a picture."""
        ...

    def photo(self, batch: str, id: str) -> PhotoRecord:
        """A picture with its content."""
        ...

    def photos(self, batch: str) -> list[PhotoRecord]:
        """The facts of every picture of a batch, oldest first."""
        ...

    def setting(self, name: str) -> str | None:
        """A setting of the cellar."""
        ...

    def keep_setting(self, name: str, value: str | None) -> None:
        """Write a setting, or take it away."""
        ...

    def add_session(self, sha256: str, ends_at: datetime) -> None:
        """Keep the hash of a new session."""
        ...

    def session_ends(self, sha256: str) -> datetime | None:
        """When a session ends; None if there is none, or it has ended."""
        ...

    def end_sessions(self, sha256: str | None = None) -> None:
        """End one session, or all of them."""
        ...
