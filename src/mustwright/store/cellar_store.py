"""What does the cellar remember: sheets, protocols, nutrients, batches, in a file or a database."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, Row, Table, insert, select, update

from mustwright.errors import ConflictError
from mustwright.services.repository import (
    MissingRecordError,
    ProtocolRecord,
    SheetRecord,
    ShelfRecord,
    slug_from_name,
)
from mustwright.store import tables
from mustwright.store.backup import back_up
from mustwright.store.batch_store import BatchStore
from mustwright.store.engine import Clock, Place, let_go, lock
from mustwright.store.opening import open_engine


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
    """

    def __init__(self, place: Place, clock: Clock, backups: Path | None = None) -> None:
        self._clock = clock
        self._engine: Engine = open_engine(place, clock, backups)
        self.ledger = BatchStore(self._engine, clock)

    def close(self) -> None:
        """Close the file."""
        let_go()
        self._engine.dispose()

    def back_up(self, target: Path) -> dict[str, int]:
        """Copy the whole cellar into one sealed file; rows by table."""
        return back_up(self._engine, target)

    def sheets(self) -> list[SheetRecord]:
        """Every sheet that is not deleted."""
        return [_sheet(row) for row in self._all(tables.sheet)]

    def sheet(self, slug: str) -> SheetRecord:
        """One sheet."""
        return _sheet(self._one(tables.sheet, slug))

    def save_sheet(
        self, slug: str | None, name: str, text: str, version: int | None
    ) -> SheetRecord:
        """Write a sheet; without a slug, a new one is made from the name."""
        with self._engine.begin() as connection:
            lock(connection)
            if slug is None:
                taken = connection.execute(select(tables.sheet.c.key)).scalars()
                slug = slug_from_name(name, set(taken))
            return _sheet(self._save(connection, tables.sheet, slug, version, name=name, text=text))

    def delete_sheet(self, slug: str, version: int) -> None:
        """Hide a sheet."""
        self._delete(tables.sheet, slug, version)

    def restore_sheet(self, slug: str) -> SheetRecord:
        """Bring a deleted sheet back as it was."""
        return _sheet(self._restore(tables.sheet, slug))

    def protocols(self) -> list[ProtocolRecord]:
        """Every protocol of the maker's own that is not deleted."""
        return [_protocol(row) for row in self._all(tables.protocol)]

    def protocol(self, id: str) -> ProtocolRecord:
        """One protocol."""
        return _protocol(self._one(tables.protocol, id))

    def save_protocol(self, id: str, text: str, version: int | None) -> ProtocolRecord:
        """Write a protocol."""
        with self._engine.begin() as connection:
            lock(connection)
            return _protocol(self._save(connection, tables.protocol, id, version, text=text))

    def delete_protocol(self, id: str, version: int) -> None:
        """Hide a protocol."""
        self._delete(tables.protocol, id, version)

    def restore_protocol(self, id: str) -> ProtocolRecord:
        """Bring a deleted protocol back as it was."""
        return _protocol(self._restore(tables.protocol, id))

    def nutrients(self) -> list[ShelfRecord]:
        """Every nutrient on the shelf that is not deleted."""
        return [_nutrient(row) for row in self._all(tables.nutrient)]

    def nutrient(self, id: str) -> ShelfRecord:
        """One nutrient."""
        return _nutrient(self._one(tables.nutrient, id))

    def save_nutrient(self, id: str, text: str, version: int | None) -> ShelfRecord:
        """Write a nutrient."""
        with self._engine.begin() as connection:
            lock(connection)
            return _nutrient(self._save(connection, tables.nutrient, id, version, text=text))

    def delete_nutrient(self, id: str, version: int) -> None:
        """Take a nutrient off the shelf."""
        self._delete(tables.nutrient, id, version)

    def restore_nutrient(self, id: str) -> ShelfRecord:
        """Bring a deleted nutrient back as it was."""
        return _nutrient(self._restore(tables.nutrient, id))

    def has_flag(self, name: str) -> bool:
        """Whether something that happens once has happened."""
        query = select(tables.flag.c.name).where(tables.flag.c.name == name)
        with self._engine.begin() as connection:
            return connection.execute(query).first() is not None

    def set_flag(self, name: str) -> None:
        """Note that it has happened; noting it again changes nothing."""
        query = select(tables.flag.c.name).where(tables.flag.c.name == name)
        with self._engine.begin() as connection:
            lock(connection)
            if connection.execute(query).first() is None:
                connection.execute(insert(tables.flag).values(name=name, set_at=self._clock()))

    def _all(self, table: Table) -> list[Row[Any]]:
        query = select(table).where(table.c.deleted_at.is_(None))
        with self._engine.begin() as connection:
            # Sorted here, since a database sorts by its own language.
            return sorted(connection.execute(query), key=lambda row: str(row.key))

    def _one(self, table: Table, key: str) -> Row[Any]:
        with self._engine.begin() as connection:
            row = _find(connection, table, key)
        if row is None or row.deleted_at is not None:
            raise MissingRecordError(table.name, key)
        return row

    def _save(
        self, connection: Connection, table: Table, key: str, version: int | None, **values: str
    ) -> Row[Any]:
        """Write one record: a new one, one that takes a deleted one's place, or a change."""
        row = _find(connection, table, key)
        if version is None:
            if row is not None and row.deleted_at is None:
                raise ConflictError(f"a {table.name} named {key!r} is kept already")
            if row is None:
                moment = self._clock()
                connection.execute(
                    insert(table).values(key=key, version=1, updated_at=moment, **values)
                )
                return _found(connection, table, key)
        else:
            _expect(table, key, row, version)
        return self._change(connection, table, key, deleted_at=None, **values)

    def _delete(self, table: Table, key: str, version: int) -> None:
        with self._engine.begin() as connection:
            lock(connection)
            _expect(table, key, _find(connection, table, key), version)
            self._change(connection, table, key, deleted_at=self._clock())

    def _restore(self, table: Table, key: str) -> Row[Any]:
        with self._engine.begin() as connection:
            lock(connection)
            row = _find(connection, table, key)
            if row is None:
                raise MissingRecordError(table.name, key)
            if row.deleted_at is None:
                return row
            return self._change(connection, table, key, deleted_at=None)

    def _change(self, connection: Connection, table: Table, key: str, **values: Any) -> Row[Any]:
        """Write over a record that this transaction has read, counting its version up."""
        counted = {"version": table.c.version + 1, "updated_at": self._clock(), **values}
        connection.execute(update(table).where(table.c.key == key).values(**counted))
        return _found(connection, table, key)


def _find(connection: Connection, table: Table, key: str) -> Row[Any] | None:
    return connection.execute(select(table).where(table.c.key == key)).first()


def _found(connection: Connection, table: Table, key: str) -> Row[Any]:
    return connection.execute(select(table).where(table.c.key == key)).one()


def _expect(table: Table, key: str, row: Row[Any] | None, version: int) -> None:
    """Refuse when the record is gone or has moved on since `version` was read."""
    if row is None or row.deleted_at is not None:
        raise MissingRecordError(table.name, key)
    if row.version != version:
        raise ConflictError(
            f"the {table.name} {key!r} was changed since you opened it (you have version"
            f" {version}, the cellar has {row.version}); nothing was written"
        )


def _sheet(row: Row[Any]) -> SheetRecord:
    return SheetRecord(row.key, row.name, row.text, row.version, row.updated_at)


def _protocol(row: Row[Any]) -> ProtocolRecord:
    return ProtocolRecord(row.key, row.text, row.version, row.updated_at)


def _nutrient(row: Row[Any]) -> ShelfRecord:
    return ShelfRecord(row.key, row.text, row.version, row.updated_at)
