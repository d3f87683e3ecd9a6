"""What does the cellar remember: sheets, protocols, nutrients, batches, in a file or a database."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, Row, Table, bindparam, insert, select, update

from mustwright.errors import ConflictError
from mustwright.services.repository import (
    MissingRecordError,
    Record,
    RecordKind,
    kind_word,
    slug_from_name,
)
from mustwright.store import tables
from mustwright.store.backup import back_up
from mustwright.store.batch_store import BatchStore
from mustwright.store.engine import Clock, Place, let_go, lock, reading
from mustwright.store.notebook_store import NotebookStore
from mustwright.store.opening import open_engine
from mustwright.texts import say

TABLES: Mapping[RecordKind, Table] = {
    "sheet": tables.sheet,
    "protocol": tables.protocol,
    "nutrient": tables.nutrient,
}
# Asked at every look: written once, as making a query takes longer than answering it.
_ALL = {kind: select(table).where(table.c.deleted_at.is_(None)) for kind, table in TABLES.items()}
_ONE = {table: select(table).where(table.c.key == bindparam("record")) for table in TABLES.values()}
PROBE = "written and taken back at once"


class CellarStore:
    """A cellar in a file or a database; satisfies `mustwright.services.repository.Cellar`.

    Parameters
    ----------
    place : Path or str
        An SQLite file or a PostgreSQL address; made, or migrated to the newest tables, when it is
        opened.
    clock : callable
        Gives the present moment, with a time zone.
    backups : Path or None
        Where a database is copied to before it is migrated.

    Attributes
    ----------
    ledger : BatchStore
        The batches of the same cellar.
    notebook : NotebookStore
        Its trials and tastings.
    """

    def __init__(self, place: Place, clock: Clock, backups: Path | None = None) -> None:
        self._clock = clock
        self._engine: Engine = open_engine(place, clock, backups)
        self.ledger = BatchStore(self._engine, clock)
        self.notebook = NotebookStore(self._engine, clock)

    def close(self) -> None:
        """Close the file."""
        let_go(self._engine)
        self._engine.dispose()

    def back_up(self, target: Path, key: bytes | None = None) -> dict[str, int]:
        """Copy the whole cellar into one sealed file, signed with a key; rows by table."""
        return back_up(self._engine, target, key)

    def records(self, kind: RecordKind) -> list[Record]:
        """Every record of a kind that is not deleted."""
        with reading(self._engine) as connection:
            rows = connection.execute(_ALL[kind])
            # Sorted here, since a database sorts by its own language.
            return sorted(map(_record, rows), key=lambda record: record.key)

    def record(self, kind: RecordKind, key: str) -> Record:
        """One record."""
        with reading(self._engine) as connection:
            return _record(_not_deleted(connection, TABLES[kind], key))

    def save(
        self, kind: RecordKind, key: str | None, text: str, version: int | None, name: str = ""
    ) -> Record:
        """Write a record: a new one, one that takes a deleted one's place, or a change."""
        table = TABLES[kind]
        values: dict[str, Any] = (
            {"text": text, "name": name} if "name" in table.c else {"text": text}
        )
        with self._engine.begin() as connection:
            lock(connection)
            if key is None:
                key = slug_from_name(name, set(connection.execute(select(table.c.key)).scalars()))
            if version is not None:
                _expect(connection, table, key, version)
                return self._change(connection, table, key, **values)
            row = _find(connection, table, key)
            if row is None:
                values |= {"key": key, "version": 1, "updated_at": self._clock()}
                connection.execute(insert(table).values(**values))
                return _record(_not_deleted(connection, table, key))
            if row.deleted_at is None:
                raise ConflictError(
                    say(
                        "a {kind} named {key!r} is kept already",
                        kind=kind_word(table.name),
                        key=key,
                    )
                )
            return self._change(connection, table, key, deleted_at=None, **values)

    def delete(self, kind: RecordKind, key: str, version: int) -> None:
        """Hide a record."""
        with self._engine.begin() as connection:
            lock(connection)
            _expect(connection, TABLES[kind], key, version)
            self._change(connection, TABLES[kind], key, deleted_at=self._clock())

    def restore(self, kind: RecordKind, key: str) -> Record:
        """Bring a deleted record back as it was."""
        with self._engine.begin() as connection:
            lock(connection)
            row = _find(connection, TABLES[kind], key)
            if row is None:
                raise MissingRecordError(kind, key)
            if row.deleted_at is None:
                return _record(row)
            return self._change(connection, TABLES[kind], key, deleted_at=None)

    def answers(self) -> None:
        """Write something that is there anyway, and take it back: return if that can be done."""
        with self._engine.connect() as connection, connection.begin() as tried:
            connection.execute(insert(tables.flag).values(name=PROBE, set_at=self._clock()))
            tried.rollback()

    def has_flag(self, name: str) -> bool:
        """Whether something that happens once has happened."""
        query = select(tables.flag.c.name).where(tables.flag.c.name == name)
        with reading(self._engine) as connection:
            return connection.execute(query).first() is not None

    def set_flag(self, name: str) -> None:
        """Note that it has happened; noting it again changes nothing."""
        query = select(tables.flag.c.name).where(tables.flag.c.name == name)
        with self._engine.begin() as connection:
            lock(connection)
            if connection.execute(query).first() is None:
                connection.execute(insert(tables.flag).values(name=name, set_at=self._clock()))

    def _change(self, connection: Connection, table: Table, key: str, **values: Any) -> Record:
        """Write over a record that this transaction has read, counting its version up."""
        counted = {"version": table.c.version + 1, "updated_at": self._clock(), **values}
        connection.execute(update(table).where(table.c.key == key).values(**counted))
        row = _find(connection, table, key)
        assert row is not None
        return _record(row)


def _find(connection: Connection, table: Table, key: str) -> Row[Any] | None:
    return connection.execute(_ONE[table], {"record": key}).first()


def _not_deleted(connection: Connection, table: Table, key: str) -> Row[Any]:
    row = _find(connection, table, key)
    if row is None or row.deleted_at is not None:
        raise MissingRecordError(table.name, key)
    return row


def _expect(connection: Connection, table: Table, key: str, version: int) -> None:
    """Refuse when the record is gone or has moved on since `version` was read."""
    row = _not_deleted(connection, table, key)
    if row.version != version:
        raise ConflictError(
            say(
                "the {kind} {key!r} was changed since you opened it (you have version"
                " {version}, the cellar has {kept}); nothing was written",
                kind=kind_word(table.name),
                key=key,
                version=version,
                kept=row.version,
            )
        )


def _record(row: Row[Any]) -> Record:
    name = getattr(row, "name", "")
    return Record(row.key, row.text, row.version, row.updated_at, name)
