"""How are batches kept: logs that only grow, tokens by their hash, pictures, settings, sessions."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Engine, Row, bindparam, func, insert, select, update

from mustwright.batch.entries import (
    Correction,
    Entry,
    PlanAdopted,
    Removal,
    Restoration,
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
    TokenRecord,
)
from mustwright.services.repository import MissingRecordError, slug_from_name
from mustwright.store import tables
from mustwright.store.access_rows import AccessRows
from mustwright.store.derived_rows import DerivedRows
from mustwright.store.engine import Clock, lock, reading
from mustwright.store.log_rows import SPARE, log_of, newest_of

BATCH, ENTRY, TOKEN, PHOTO = tables.batch, tables.entry, tables.token, tables.photo
LONGEST_LOG = 200_000
# Asked at every look: written once, as making a query takes longer than answering it.
_ONE = select(BATCH).where(BATCH.c.key == bindparam("slug"))
_ONE_FOR_CHANGE = _ONE.with_for_update()
_NO_CONTENT = [c for c in PHOTO.c if c.name != "content"]


class BatchStore(DerivedRows, AccessRows):
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
        query = select(BATCH).where(gone.is_not(None) if deleted else gone.is_(None))
        with reading(self._engine) as connection:
            return sorted((_batch(r) for r in connection.execute(query)), key=lambda b: b.slug)

    def batch(self, slug: str) -> BatchRecord:
        """One batch."""
        with reading(self._engine) as connection:
            return _batch(_live(connection, slug))

    def one_moment(self) -> AbstractContextManager[object]:
        """Within it, everything this thread asks is as of one moment."""
        return reading(self._engine)

    def stamp(self) -> str:
        """Changes whenever any batch, log or digest does."""
        query = select(
            func.count(),
            func.sum(BATCH.c.version),
            func.sum(BATCH.c.digest_version),
            func.max(BATCH.c.digest_at),
            func.count(BATCH.c.deleted_at),
        )
        with reading(self._engine) as connection:
            return repr(tuple(connection.execute(query).one()))

    def start(
        self,
        name: str,
        sheet: str,
        entries: Sequence[Entry],
        photos: Sequence[PhotoRecord] = (),
    ) -> BatchRecord:
        """A new batch with the first lines of its log, and its pictures."""
        if not entries:
            raise InputError("entries", "needs at least the plan", "none")
        if len({e.id for e in entries}) < len(entries):
            raise InputError("entries", "needs an id of its own for each line", "one twice")
        with self._engine.begin() as connection:
            lock(connection)
            taken = set(connection.execute(select(BATCH.c.key)).scalars())
            slug = slug_from_name(name, taken)
            values = {"key": slug, "name": name, "sheet": sheet, "version": 1, "digest": ""}
            moment = self._clock()
            connection.execute(insert(BATCH).values(**values, digest_version=0, updated_at=moment))
            self._write(connection, slug, 0, entries)
            for photo in photos:
                row = _photo_row(replace(photo, batch=slug))
                connection.execute(insert(PHOTO).values(**row))
            return _batch(_live(connection, slug))

    def rename(self, slug: str, name: str, version: int) -> BatchRecord:
        """Change the name people see."""
        with self._engine.begin() as connection:
            _expect(_live(connection, slug, for_change=True), version)
            self._count_up(connection, slug, version + 1, name=name)
            return _batch(_live(connection, slug))

    def delete_batch(self, slug: str, version: int) -> None:
        """Hide a batch with its log."""
        with self._engine.begin() as connection:
            _expect(_live(connection, slug, for_change=True), version)
            self._count_up(connection, slug, version + 1, deleted_at=self._clock())

    def restore_batch(self, slug: str) -> BatchRecord:
        """Bring a deleted batch back as it was."""
        with self._engine.begin() as connection:
            row = _find(connection, slug, for_change=True)
            if row is None:
                raise MissingRecordError(KIND, slug)
            if row.deleted_at is not None:
                self._count_up(connection, slug, row.version + 1, deleted_at=None)
            return _batch(_live(connection, slug))

    # The log -----------------------------------------------------------------------------------

    def log(
        self, slug: str, after: int = 0, most: int | None = None, *, deleted: bool = False
    ) -> list[Entry]:
        """The log, oldest line first: all of it, or some lines after a place in it."""
        with reading(self._engine) as connection:
            if not deleted or _find(connection, slug) is None:
                _live(connection, slug)
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

    def append(self, slug: str, entries: Sequence[Entry], seen: int | None = None) -> list[Entry]:
        """Add lines, all or none; gives them back as kept."""
        with self._engine.begin() as connection:
            row = _live(connection, slug, for_change=True)
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
            written = self._write(connection, slug, row.version, list(new.values()))
        for heard in self._heard if written else ():
            heard(slug)
        both = {**kept, **{e.id: e for e in written}}
        return [both[e.id] for e in entries]

    def _write(
        self, connection: Connection, slug: str, version: int, entries: Sequence[Entry]
    ) -> list[Entry]:
        """Number the lines on from `version`, write them, and count the batch up."""
        if not entries:
            return []
        if version + len(entries) > LONGEST_LOG:
            raise InputError("entries", f"needs a log of at most {LONGEST_LOG} lines", version)
        moment = self._clock()
        rows = [_row(slug, version + k, e, moment) for k, e in enumerate(entries, 1)]
        connection.execute(insert(ENTRY), rows)
        self._count_up(connection, slug, version + len(entries))
        return [
            Entry(e.id, e.at, e.who, e.what, version + k, moment) for k, e in enumerate(entries, 1)
        ]

    def _count_up(self, connection: Connection, slug: str, version: int, **values: Any) -> None:
        changed = {"version": version, "updated_at": self._clock(), **values}
        connection.execute(update(BATCH).where(BATCH.c.key == slug).values(**changed))

    def keep_digest(self, slug: str, version: int, digest: str) -> None:
        """Save how a batch stands; ignored if it has moved on."""
        here = (BATCH.c.key == slug) & (BATCH.c.version == version)
        values = {"digest": digest, "digest_version": version, "digest_at": self._clock()}
        with self._engine.begin() as connection:
            connection.execute(update(BATCH).where(here).values(**values))

    # Tokens ------------------------------------------------------------------------------------

    def add_token(
        self, id: str, batch: str | None, purpose: str, label: str, sha256: str
    ) -> TokenRecord:
        """Keep the hash of a new token."""
        with self._engine.begin() as connection:
            if batch is not None:
                _live(connection, batch)
            values = {"id": id, "batch": batch, "purpose": purpose, "label": label}
            moment = self._clock()
            connection.execute(insert(TOKEN).values(**values, sha256=sha256, created_at=moment))
        return TokenRecord(id, batch, purpose, label, moment)

    def tokens(self, batch: str | None) -> list[TokenRecord]:
        """Tokens of a batch, or those of the whole cellar; revoked ones too, oldest first."""
        here = TOKEN.c.batch.is_(None) if batch is None else TOKEN.c.batch == batch
        query = select(TOKEN).where(here).order_by(TOKEN.c.created_at, TOKEN.c.id)
        with reading(self._engine) as connection:
            return [_token(row) for row in connection.execute(query)]

    def token_of(self, sha256: str) -> TokenRecord | None:
        """The token of a hash, unless it was revoked."""
        query = select(TOKEN).where(TOKEN.c.sha256 == sha256, TOKEN.c.revoked_at.is_(None))
        with reading(self._engine) as connection:
            row = connection.execute(query).first()
        return None if row is None else _token(row)

    def revoke_token(self, id: str) -> TokenRecord:
        """End a token; ending it again changes nothing."""
        with self._engine.begin() as connection:
            row = connection.execute(select(TOKEN).where(TOKEN.c.id == id)).first()
            if row is None:
                raise MissingRecordError("token", id)
            if row.revoked_at is None:
                values = {"revoked_at": self._clock()}
                connection.execute(update(TOKEN).where(TOKEN.c.id == id).values(**values))
            return _token(connection.execute(select(TOKEN).where(TOKEN.c.id == id)).one())

    # Pictures ----------------------------------------------------------------------------------

    def add_photo(self, photo: PhotoRecord) -> PhotoRecord:
        """Keep a picture."""
        with self._engine.begin() as connection:
            _live(connection, photo.batch)
            connection.execute(insert(PHOTO).values(**_photo_row(photo)))
        return photo

    def photo(self, batch: str, id: str) -> PhotoRecord:
        """A picture with its content."""
        query = select(PHOTO).where(PHOTO.c.id == id, PHOTO.c.batch == batch)
        with reading(self._engine) as connection:
            row = connection.execute(query).first()
        if row is None:
            raise MissingRecordError("photo", id)
        return PhotoRecord(**{**row._mapping, "content": bytes(row.content)})

    def photos(self, batch: str) -> list[PhotoRecord]:
        """The facts of every picture of a batch, oldest first."""
        query = select(*_NO_CONTENT).where(PHOTO.c.batch == batch)
        with reading(self._engine) as connection:
            rows = connection.execute(query.order_by(PHOTO.c.created_at, PHOTO.c.id)).all()
        return [PhotoRecord(**row._mapping) for row in rows]


def _find(connection: Connection, slug: str, *, for_change: bool = False) -> Row[Any] | None:
    query = _ONE_FOR_CHANGE if for_change else _ONE
    return connection.execute(query, {"slug": slug}).first()


def _live(connection: Connection, slug: str, *, for_change: bool = False) -> Row[Any]:
    row = _find(connection, slug, for_change=for_change)
    if row is None or row.deleted_at is not None:
        raise MissingRecordError(KIND, slug)
    return row


def _expect(row: Row[Any], version: int) -> None:
    if row.version != version:
        raise ConflictError(
            f"the batch {row.key!r} was changed since you opened it (you have version {version}, "
            f"the cellar has {row.version}); nothing was written"
        )


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


def _batch(row: Row[Any]) -> BatchRecord:
    facts = (row.key, row.name, row.sheet, row.version, row.updated_at)
    return BatchRecord(*facts, row.digest, row.digest_version, row.digest_at)


def _photo_row(photo: PhotoRecord) -> dict[str, Any]:
    return {c.name: getattr(photo, c.name) for c in PHOTO.c}


def _token(row: Row[Any]) -> TokenRecord:
    return TokenRecord(row.id, row.batch, row.purpose, row.label, row.created_at, row.revoked_at)
