"""One row of the table of batches: found, expected to be as it was read, made a record."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Row, bindparam, select

from mustwright.batch.view import BatchRecord
from mustwright.errors import ConflictError
from mustwright.services.batch.repository import KIND
from mustwright.services.repository import MissingRecordError, kind_word
from mustwright.store import tables
from mustwright.store.engine import IDENTITY
from mustwright.texts import say

BATCH = tables.batch
# Asked at every look: written once, as making a query takes longer than answering it.
_SETTING = tables.setting
CELLAR = select(_SETTING.c.value).where(_SETTING.c.name == IDENTITY).scalar_subquery()
ROW = select(BATCH, CELLAR.label("cellar"))
_ONE = ROW.where(BATCH.c.key == bindparam("slug"))
_ONE_FOR_CHANGE = _ONE.with_for_update(of=BATCH)


def find(connection: Connection, slug: str, *, for_change: bool = False) -> Row[Any] | None:
    query = _ONE_FOR_CHANGE if for_change else _ONE
    return connection.execute(query, {"slug": slug}).first()


def live(connection: Connection, slug: str, *, for_change: bool = False) -> Row[Any]:
    row = find(connection, slug, for_change=for_change)
    if row is None or row.deleted_at is not None:
        raise MissingRecordError(KIND, slug)
    return row


def expect(row: Row[Any], version: int) -> None:
    if row.version != version:
        raise ConflictError(
            say(
                "the {kind} {key!r} was changed since you opened it (you have version"
                " {version}, the cellar has {kept}); nothing was written",
                kind=kind_word(KIND),
                key=row.key,
                version=version,
                kept=row.version,
            )
        )


def batch_of(row: Row[Any]) -> BatchRecord:
    facts = (row.key, row.name, row.sheet, row.version, row.updated_at)
    return BatchRecord(*facts, row.digest, row.digest_version, row.digest_at, row.cellar or "")
