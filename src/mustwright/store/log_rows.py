"""How is a log read quickly: with one query, and the plain kinds of line built directly.

A page of a batch reads a few hundred lines. What a line holds was checked when it was written, so
its names are checked again here, and its values only where the names are not those of this version.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import MISSING, fields
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import Connection, Select, Text, bindparam, select, type_coerce

from mustwright.batch.entries import Entry, Event, Note, Photo, PlanAdopted, Reading, what_from
from mustwright.store import tables

ENTRY = tables.entry
_COLUMNS = (
    ENTRY.c.seq,
    ENTRY.c.id,
    ENTRY.c.kind,
    type_coerce(ENTRY.c.at, Text),
    type_coerce(ENTRY.c.logged_at, Text),
    ENTRY.c.who,
    ENTRY.c.content,
)
KEPT_PLANS = 256
SPARE = 2  # lines read beyond those asked for, to find what undo would go back to
PLAIN_KINDS = [kind.kind for kind in (Reading, Note, Photo)]

# Written once: making a query takes longer than answering it.
_HERE = (ENTRY.c.batch == bindparam("slug"), ENTRY.c.seq > bindparam("after"))
_UP_TO = (ENTRY.c.batch == bindparam("slug"), ENTRY.c.seq <= bindparam("version"))
_OWN = select(ENTRY.c.seq).where(*_UP_TO, ENTRY.c.target.is_(None)).limit(bindparam("count"))
_LOG = select(*_COLUMNS).where(*_HERE).order_by(ENTRY.c.seq)
_NOT_PLAIN = _LOG.where(ENTRY.c.kind.not_in(PLAIN_KINDS))
_CHANGES = select(*_COLUMNS).where(*_UP_TO, ENTRY.c.target.is_not(None)).order_by(ENTRY.c.seq)
_LATEST = _OWN.order_by(ENTRY.c.at.desc(), ENTRY.c.seq.desc()).subquery()
_LAST = _OWN.order_by(ENTRY.c.seq.desc()).subquery()
_NEWEST = select(*_COLUMNS).where(
    *_UP_TO, ENTRY.c.seq.in_(select(_LATEST.c.seq)) | ENTRY.c.seq.in_(select(_LAST.c.seq))
)


def _defaults(kind: type[Any]) -> dict[str, Any]:
    return {f.name: None if f.default is MISSING else f.default for f in fields(kind)}


def _needed(kind: type[Any]) -> frozenset[str]:
    return frozenset(f.name for f in fields(kind) if f.default is MISSING)


# Kinds whose fields are numbers and text alone: kind, defaults, and the fields that must be there.
PLAIN: dict[str, tuple[type[Any], dict[str, Any], frozenset[str]]] = {
    cls.kind: (cls, _defaults(cls), _needed(cls)) for cls in (Reading, Event, Note)
}


def log_of(
    connection: Connection,
    slug: str,
    after: int = 0,
    most: int | None = None,
    *,
    plain: bool = True,
) -> list[Entry]:
    """Lines of a log, oldest first.

    Parameters
    ----------
    after : int
        Lines after this place in the log.
    most : int or None
        At most this many; all when None.
    plain : bool
        Readings, notes and pictures too.
    """
    query = _LOG if plain else _NOT_PLAIN
    if most is not None:
        query = query.limit(most)
    return _entries(connection, query, slug=slug, after=after)


def newest_of(
    connection: Connection, slug: str, most: int, version: int, *, is_plain: bool = False
) -> list[Entry]:
    """Lines of a log that its newest entries rest on, in the order of the log.

    `most` entries by their time as they stand, the line that undo would take back, and every line
    about any of them. A correction may move an entry in time, and an undo leaves one more line
    to go back to: one more entry is taken for each change.
    """
    changes = [] if is_plain else _entries(connection, _CHANGES, slug=slug, version=version)
    count = most + len(changes) + SPARE
    found = _entries(connection, _NEWEST, slug=slug, version=version, count=count)
    known = {e.id for e in found}
    missing = {target for e in changes if (target := getattr(e.what, "target", "")) not in known}
    if missing:
        query = _LOG.where(ENTRY.c.id.in_(missing), ENTRY.c.seq <= version)
        found += _entries(connection, query, slug=slug, after=0)
    return sorted([*changes, *found], key=lambda e: e.seq)


def _entries(connection: Connection, query: Select[Any], **asked: object) -> list[Entry]:
    rows = [tuple(row) for row in connection.execute(query, asked)]
    contents = json.loads(f"[{','.join(row[6] for row in rows)}]")
    return [_entry(row, content) for row, content in zip(rows, contents, strict=True)]


def _entry(row: Sequence[Any], content: Any) -> Entry:
    seq, id, kind, at, logged_at, who, text = row
    made = object.__new__(Entry)
    made.__dict__.update(
        id=id,
        at=_moment(at),
        who=who,
        what=_what(kind, content, text, id),
        seq=seq,
        logged_at=_moment(logged_at),
    )
    return made


def _what(kind: str, content: Any, text: str, id: str) -> Any:
    plain = PLAIN.get(kind)
    if plain is None:
        return _plan(text) if kind == PlanAdopted.kind else what_from(kind, content, f"entry {id}")
    cls, defaults, needed = plain
    if not (content.keys() <= defaults.keys() and needed <= content.keys()):
        return what_from(kind, content, f"entry {id}")
    made = object.__new__(cls)
    made.__dict__.update(defaults)
    made.__dict__.update(content)
    return made


@lru_cache(maxsize=KEPT_PLANS)
def _plan(text: str) -> Any:
    """A plan; the same text is the same plan, which never changes."""
    return what_from(PlanAdopted.kind, json.loads(text), "plan")


def _moment(value: Any) -> datetime:
    """A moment as the driver gives it: text from SQLite, with its zone from PostgreSQL."""
    if isinstance(value, str):
        return datetime.fromisoformat(f"{value}+00:00")
    moment: datetime = value
    return moment.astimezone(UTC)
