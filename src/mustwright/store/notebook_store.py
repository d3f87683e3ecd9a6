"""How are trials, tastings and what was learned kept: pages of JSON, versioned, by kind and key."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Engine, Row, delete, insert, select, update

from mustwright.errors import ConflictError
from mustwright.services.notebook import NotePage
from mustwright.services.repository import MissingRecordError, slug_from_name
from mustwright.store import tables
from mustwright.store.engine import Clock, lock, reading
from mustwright.texts import say

PAGE = tables.notebook


class NotebookStore:
    """The notebook of a cellar; satisfies `mustwright.services.notebook.Notebook`."""

    def __init__(self, engine: Engine, clock: Clock) -> None:
        self._engine, self._clock = engine, clock

    def pages(self, kind: str) -> list[NotePage]:
        """Every page of a kind, in the order of the key."""
        query = select(PAGE).where(PAGE.c.kind == kind)
        with reading(self._engine) as connection:
            return sorted((_page(r) for r in connection.execute(query)), key=lambda p: p.key)

    def versions(self, *kinds: str) -> tuple[tuple[str, str, int], ...]:
        """Kind, key and version of every page of some kinds, in that order."""
        query = select(PAGE.c.kind, PAGE.c.key, PAGE.c.version).where(PAGE.c.kind.in_(kinds))
        with reading(self._engine) as connection:
            return tuple(sorted(tuple(row) for row in connection.execute(query)))

    def page(self, kind: str, key: str) -> NotePage:
        """One page."""
        with reading(self._engine) as connection:
            found = _find(connection, kind, key)
        if found is None:
            raise MissingRecordError(kind, key)
        return _page(found)

    def add_page(self, kind: str, name: str, content: str) -> NotePage:
        """A new page; its key is made from the name."""
        with self._engine.begin() as connection:
            lock(connection)
            taken = connection.execute(select(PAGE.c.key).where(PAGE.c.kind == kind)).scalars()
            key = slug_from_name(name, set(taken))
            return self._write(connection, kind, key, content, None)

    def save_page(self, kind: str, key: str, content: str, version: int | None) -> NotePage:
        """Write a page; without a version whatever is there."""
        with self._engine.begin() as connection:
            lock(connection)
            found = _find(connection, kind, key)
            _expect(found, kind, key, version)
            return self._write(connection, kind, key, content, found)

    def remove_page(self, kind: str, key: str, version: int | None) -> None:
        """Take a page away for good."""
        with self._engine.begin() as connection:
            lock(connection)
            _expect(_find(connection, kind, key), kind, key, version)
            connection.execute(delete(PAGE).where(PAGE.c.kind == kind, PAGE.c.key == key))

    def _write(
        self, connection: Connection, kind: str, key: str, content: str, found: Row[Any] | None
    ) -> NotePage:
        values = {"content": content, "updated_at": self._clock()}
        if found is None:
            row = {"kind": kind, "key": key, "version": 1, **values}
            connection.execute(insert(PAGE).values(**row))
        else:
            here = (PAGE.c.kind == kind, PAGE.c.key == key)
            row = {"version": found.version + 1, **values}
            connection.execute(update(PAGE).where(*here).values(**row))
        written = _find(connection, kind, key)
        assert written is not None
        return _page(written)


def _find(connection: Connection, kind: str, key: str) -> Row[Any] | None:
    return connection.execute(select(PAGE).where(PAGE.c.kind == kind, PAGE.c.key == key)).first()


def _expect(found: Row[Any] | None, kind: str, key: str, version: int | None) -> None:
    if version is None:
        return
    if found is None:
        raise MissingRecordError(kind, key)
    if found.version != version:
        raise ConflictError(
            say("{key} was changed since you opened it; nothing was written", key=key)
        )


def _page(row: Row[Any]) -> NotePage:
    return NotePage(row.kind, row.key, row.content, row.version, row.updated_at)
