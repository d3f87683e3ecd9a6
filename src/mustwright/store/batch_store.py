"""How are batches kept: logs that only grow, and all that belongs to them."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Engine, Row, func, insert, select, update

from mustwright.batch.entries import (
    Correction,
    Entry,
    Photo,
    PlanAdopted,
    Removal,
    Restoration,
    refuse_lines_ahead,
    what_data,
    what_from,
)
from mustwright.batch.view import BatchRecord
from mustwright.errors import ConflictError, InputError
from mustwright.services.batch.repository import (
    KIND,
    ChangedEntryError,
    PhotoRecord,
    SameIdError,
    TakenIn,
)
from mustwright.services.repository import MissingRecordError, slug_from_name
from mustwright.store import tables
from mustwright.store.access_rows import AccessRows
from mustwright.store.batch_rows import BATCH, CELLAR, ROW, batch_of, expect, find, live
from mustwright.store.derived_rows import DerivedRows
from mustwright.store.engine import Clock, last_change, lock, reading
from mustwright.store.log_rows import SPARE, log_of, newest_of
from mustwright.store.photo_rows import PhotoRows, keep_photos
from mustwright.store.token_rows import TokenRows
from mustwright.texts import say

ENTRY = tables.entry
LONGEST_LOG = 200_000
STAMPED = "stamp of the ledger"  # of a connection, with the change it was read after
_STAMP = select(
    func.count(),
    func.sum(BATCH.c.version),
    func.sum(BATCH.c.digest_version),
    func.max(BATCH.c.digest_at),
    func.count(BATCH.c.deleted_at),
    CELLAR,
)


class BatchStore(DerivedRows, AccessRows, TokenRows, PhotoRows):
    """The batches of a cellar; satisfies `mustwright.services.batch.repository.Ledger`."""

    def __init__(self, engine: Engine, clock: Clock) -> None:
        self._engine = engine
        self._clock = clock
        self._heard: list[Callable[[str], None]] = []

    def listen(self, heard: Callable[[str], None]) -> None:
        """Call `heard` with the short name of a batch whenever its log has grown here."""
        self._heard.append(heard)

    # Batches -----------------------------------------------------------------------------------

    def batches(self, *, deleted: bool = False) -> list[BatchRecord]:
        """Every batch that is not deleted, or every one that is."""
        gone = BATCH.c.deleted_at
        query = ROW.where(gone.is_not(None) if deleted else gone.is_(None))
        with reading(self._engine) as connection:
            return sorted((batch_of(r) for r in connection.execute(query)), key=lambda b: b.slug)

    def batch(self, slug: str) -> BatchRecord:
        """One batch."""
        with reading(self._engine) as connection:
            return batch_of(live(connection, slug))

    def one_moment(self) -> AbstractContextManager[object]:
        """Within it, everything this thread asks is as of one moment."""
        return reading(self._engine)

    def stamp(self) -> str:
        """Changes whenever any batch, log or digest does."""
        with reading(self._engine) as connection:
            change = last_change(connection)
            kept: tuple[object, str] | None = connection.info.get(STAMPED)
            if kept is None or change is None or kept[0] != change:
                kept = change, repr(tuple(connection.execute(_STAMP).one()))
                connection.info[STAMPED] = kept
            return kept[1]

    def start(
        self,
        name: str,
        sheet: str,
        entries: Sequence[Entry],
        photos: Sequence[PhotoRecord] = (),
    ) -> BatchRecord:
        """A new batch with the first lines of its log, and its pictures."""
        if not entries:
            raise InputError("entries", say("needs at least the plan"), say("none"))
        _refuse_same_ids(entries)
        with self._engine.begin() as connection:
            lock(connection)
            slug = _new_batch(connection, name, name, sheet, 1, self._clock())
            self._write(connection, slug, 0, entries)
            keep_photos(connection, slug, photos)
            return batch_of(live(connection, slug))

    def take_in(self, taken: TakenIn) -> BatchRecord:
        """A batch from elsewhere as it was there: places, times and authors of its lines too."""
        lines = taken.entries
        _refuse_same_ids(lines)
        with self._engine.begin() as connection:
            lock(connection)
            known = select(ENTRY.c.batch).where(ENTRY.c.id == lines[0].id, ENTRY.c.seq == 1)
            if (slug := connection.execute(known).scalar()) is not None:
                raise ConflictError(
                    say("this batch is kept already, as {slug!r}; nothing was written", slug=slug)
                )
            moment = self._clock()
            refuse_lines_ahead(lines, moment, "log")
            slug = _new_batch(
                connection, taken.slug, taken.name, taken.sheet, taken.version, taken.updated_at
            )
            rows = [_row(slug, e.seq, e, e.logged_at or moment) for e in lines]
            connection.execute(insert(ENTRY), rows)
            keep_photos(connection, slug, taken.photos)
            return batch_of(live(connection, slug))

    def holding(self, ids: Sequence[str]) -> dict[str, str]:
        """Which batch holds the line of an id, put away or not; ids that no batch has are left out.

        An id that several have is that of the one whose short name comes first.
        """
        query = select(ENTRY.c.id, ENTRY.c.batch).where(ENTRY.c.id.in_(ids))
        with reading(self._engine) as connection:
            found = sorted(tuple(row) for row in connection.execute(query))
        return {id: slug for id, slug in reversed(found)}  # noqa: C416

    def rename(self, slug: str, name: str, version: int) -> BatchRecord:
        """Change the name people see."""
        with self._engine.begin() as connection:
            expect(live(connection, slug, for_change=True), version)
            self._count_up(connection, slug, version + 1, name=name)
            return batch_of(live(connection, slug))

    def delete_batch(self, slug: str, version: int) -> None:
        """Hide a batch with its log."""
        with self._engine.begin() as connection:
            expect(live(connection, slug, for_change=True), version)
            self._count_up(connection, slug, version + 1, deleted_at=self._clock())

    def restore_batch(self, slug: str) -> BatchRecord:
        """Bring a deleted batch back as it was."""
        with self._engine.begin() as connection:
            row = find(connection, slug, for_change=True)
            if row is None:
                raise MissingRecordError(KIND, slug)
            if row.deleted_at is not None:
                self._count_up(connection, slug, row.version + 1, deleted_at=None)
            return batch_of(live(connection, slug))

    # The log -----------------------------------------------------------------------------------

    def log(
        self, slug: str, after: int = 0, most: int | None = None, *, deleted: bool = False
    ) -> list[Entry]:
        """The log, oldest line first: all of it, or some lines after a place in it."""
        with reading(self._engine) as connection:
            if not deleted or find(connection, slug) is None:
                live(connection, slug)
            return log_of(connection, slug, after, most)

    def newest(
        self, slug: str, most: int, version: int, *, is_plain: bool = False, in_order: bool = False
    ) -> list[Entry]:
        """Lines that the newest entries of a log rest on, and what undo would take back."""
        with reading(self._engine) as connection:
            if in_order:
                before = max(version - most - SPARE, 0)
                return log_of(connection, slug, before, version - before)
            return newest_of(connection, slug, most, version, is_plain=is_plain)

    def append(
        self,
        slug: str,
        entries: Sequence[Entry],
        seen: int | None = None,
        photos: Sequence[PhotoRecord] = (),
    ) -> list[Entry]:
        """Add lines and the pictures they show, all or none; gives the lines back as kept."""
        return self.append_each({slug: entries}, {} if seen is None else {slug: seen}, photos)[slug]

    def append_each(
        self,
        lines: Mapping[str, Sequence[Entry]],
        seen: Mapping[str, int] | None = None,
        photos: Sequence[PhotoRecord] = (),
    ) -> dict[str, list[Entry]]:
        """Add lines to several batches, all or none."""
        found, grown = {}, []
        with self._engine.begin() as connection:
            for slug in sorted(lines):  # in one order everywhere: no two wait for each other
                entries = lines[slug]
                row = live(connection, slug, for_change=True)
                kept, new = _sorted_out(connection, slug, entries, (seen or {}).get(slug))
                written = self._write(connection, slug, row.version, new)
                if written:
                    grown.append(slug)
                    ids = {e.what.photo for e in written if isinstance(e.what, Photo)}
                    keep_photos(connection, slug, [p for p in photos if p.id in ids])
                both = {**kept, **{e.id: e for e in written}}
                found[slug] = [both[e.id] for e in entries]
        for slug in grown:
            for heard in self._heard:
                heard(slug)
        return found

    def _write(
        self, connection: Connection, slug: str, version: int, entries: Sequence[Entry]
    ) -> list[Entry]:
        """Number the lines on from `version`, write them, and count the batch up."""
        if not entries:
            return []
        if version + len(entries) > LONGEST_LOG:
            raise InputError(
                "entries",
                say("needs a log of at most {most} lines", most=LONGEST_LOG),
                version,
            )
        moment = self._clock()
        refuse_lines_ahead(entries, moment)
        rows = [_row(slug, version + k, e, moment) for k, e in enumerate(entries, 1)]
        connection.execute(insert(ENTRY), rows)
        self._count_up(connection, slug, version + len(entries))
        return [
            Entry(e.id, e.at, e.who, e.what, version + k, moment) for k, e in enumerate(entries, 1)
        ]

    def _count_up(self, connection: Connection, slug: str, version: int, **values: Any) -> None:
        changed = {"version": version, "updated_at": self._clock(), **values}
        connection.execute(update(BATCH).where(BATCH.c.key == slug).values(**changed))

    def keep_digest(self, slug: str, version: int, digest: str, cellar: str | None = None) -> None:
        """Save how a batch stands; ignored if it has moved on."""
        here = (BATCH.c.key == slug) & (BATCH.c.version == version)
        if cellar is not None:
            here &= func.coalesce(CELLAR, "") == cellar
        values = {"digest": digest, "digest_version": version, "digest_at": self._clock()}
        with self._engine.begin() as connection:
            connection.execute(update(BATCH).where(here).values(**values))


def _refuse_same_ids(entries: Sequence[Entry]) -> None:
    if len({e.id for e in entries}) < len(entries):
        raise InputError("entries", say("needs an id of its own for each line"), say("one twice"))


def _new_batch(
    connection: Connection, like: str, name: str, sheet: str, version: int, moment: datetime
) -> str:
    """An empty batch under a short name that is free; gives that name."""
    slug = slug_from_name(like, set(connection.execute(select(BATCH.c.key)).scalars()))
    values = {"key": slug, "name": name, "sheet": sheet, "version": version, "digest": ""}
    connection.execute(insert(BATCH).values(**values, digest_version=0, updated_at=moment))
    return slug


def _sorted_out(
    connection: Connection, slug: str, entries: Sequence[Entry], seen: int | None
) -> tuple[dict[str, Entry], list[Entry]]:
    """Lines that are kept already by their id, and those that are new."""
    kept = _kept(connection, slug, [e.id for e in entries])
    new: dict[str, Entry] = {}
    for entry in entries:
        there = kept.get(entry.id) or new.get(entry.id)
        if there is None:
            new[entry.id] = entry
        elif not _says_the_same(there, entry):
            raise SameIdError(entry, there)
    for entry in new.values():
        _refuse_dangling(connection, slug, entry, new)
        _refuse_stale(connection, slug, entry, seen)
    return kept, list(new.values())


def _kept(connection: Connection, slug: str, ids: Sequence[str]) -> dict[str, Entry]:
    query = select(ENTRY).where(ENTRY.c.batch == slug, ENTRY.c.id.in_(ids))
    return {row.id: _entry(row) for row in connection.execute(query)}


def _says_the_same(one: Entry, other: Entry) -> bool:
    return one.what == other.what and one.at == other.at


def _target(entry: Entry) -> str | None:
    what = entry.what
    return what.target if isinstance(what, (Correction, Removal, Restoration)) else None


def _refuse_dangling(
    connection: Connection, slug: str, entry: Entry, new: dict[str, Entry]
) -> None:
    """Refuse a change of an entry that is not in the log."""
    target = _target(entry)
    if target is not None and target not in new and not _kept(connection, slug, [target]):
        raise MissingRecordError("entry", target)


def _refuse_stale(connection: Connection, slug: str, entry: Entry, seen: int | None) -> None:
    """Refuse a change of what someone else changed after `seen`."""
    if seen is None:
        return
    target = _target(entry)
    if target is not None:
        same = ENTRY.c.target == target
    elif isinstance(entry.what, PlanAdopted):
        same = ENTRY.c.kind == PlanAdopted.kind
    else:
        return
    query = select(ENTRY).where(ENTRY.c.batch == slug, ENTRY.c.seq > seen, same)
    theirs = [_entry(row) for row in connection.execute(query.order_by(ENTRY.c.seq))]
    if theirs:
        raise ChangedEntryError(entry, theirs)


def _row(slug: str, seq: int, entry: Entry, moment: datetime) -> dict[str, Any]:
    content = {k: v for k, v in what_data(entry.what).items() if v is not None and v != ""}
    return {
        "batch": slug,
        "seq": seq,
        "id": entry.id,
        "kind": entry.what.kind,
        "target": _target(entry),
        "at": entry.at,
        "logged_at": moment,
        "who": entry.who,
        "content": json.dumps(content, ensure_ascii=False, allow_nan=False),
    }


def _entry(row: Row[Any]) -> Entry:
    what = what_from(row.kind, json.loads(row.content), f"entry {row.id}")
    return Entry(row.id, row.at, row.who, what, row.seq, row.logged_at)
