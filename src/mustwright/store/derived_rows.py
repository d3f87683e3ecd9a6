"""What is worked out from logs and kept beside them; if lost, it is made again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Engine, Table, bindparam, insert, select, update

from mustwright.batch.entries import Entry
from mustwright.store import tables
from mustwright.store.engine import IDENTITY, Clock, lock, reading
from mustwright.store.log_rows import log_of

OUTLOOK, GIST = tables.outlook, tables.gist
_OUTLOOK = select(OUTLOOK.c.content).where(OUTLOOK.c.batch == bindparam("slug"))
_CELLAR = select(tables.setting.c.value).where(tables.setting.c.name == IDENTITY)
_GIST = select(GIST.c.content).where(GIST.c.batch == bindparam("slug"))


class DerivedRows:
    """The part of `BatchStore` that keeps what follows from logs."""

    _engine: Engine
    _clock: Clock

    def outlook(self, slug: str) -> str | None:
        """The forecast kept beside a batch's log, as it came."""
        with reading(self._engine) as connection:
            found: str | None = connection.execute(_OUTLOOK, {"slug": slug}).scalar()
        return found

    def keep_outlook(
        self, slug: str, version: int, content: str, cellar: str | None = None
    ) -> None:
        """Keep a forecast, unless one of a later version is kept or the batch is not there."""
        values = {"made_at": self._clock(), "content": content}
        self._keep(OUTLOOK, slug, version, values, cellar)

    def gist(self, slug: str) -> tuple[bytes, list[Entry]] | None:
        """The gist kept beside a log, and the lines that are no readings, notes or pictures."""
        with reading(self._engine) as connection:
            found = connection.execute(_GIST, {"slug": slug}).scalar()
            if found is None:
                return None
            return bytes(found), log_of(connection, slug, plain=False)

    def keep_gist(self, slug: str, version: int, content: bytes, cellar: str | None = None) -> None:
        """Keep a gist, unless one of a later version is kept or the batch is not there."""
        self._keep(GIST, slug, version, {"content": content}, cellar)

    def _keep(
        self,
        table: Table,
        slug: str,
        version: int,
        values: Mapping[str, Any],
        cellar: str | None,
    ) -> None:
        here = table.c.batch == slug
        with self._engine.begin() as connection:
            lock(connection)
            known = select(tables.batch.c.key).where(tables.batch.c.key == slug)
            if connection.execute(known).first() is None:
                return
            if cellar is not None and (connection.execute(_CELLAR).scalar() or "") != cellar:
                return  # worked out from a cellar that another one has replaced
            kept = connection.execute(select(table.c.version).where(here)).scalar()
            row = {"version": version, **values}
            if kept is None:
                connection.execute(insert(table).values(batch=slug, **row))
            elif kept <= version:
                connection.execute(update(table).where(here).values(**row))
