"""How are forecasts of batches kept: one for each batch, with the version it was made from."""

from __future__ import annotations

from sqlalchemy import Engine, insert, select, update

from mustwright.store import tables
from mustwright.store.engine import Clock, lock, reading

OUTLOOK = tables.outlook


class OutlookRows:
    """The part of `BatchStore` that keeps forecasts."""

    _engine: Engine
    _clock: Clock

    def outlook(self, slug: str) -> str | None:
        """The forecast kept beside a batch's log, as it was given."""
        query = select(OUTLOOK.c.content).where(OUTLOOK.c.batch == slug)
        with reading(self._engine) as connection:
            found: str | None = connection.execute(query).scalar()
        return found

    def keep_outlook(self, slug: str, version: int, content: str) -> None:
        """Keep a forecast, unless one of a later version is kept or the batch is not there."""
        here = OUTLOOK.c.batch == slug
        values = {"version": version, "made_at": self._clock(), "content": content}
        with self._engine.begin() as connection:
            lock(connection)
            known = select(tables.batch.c.key).where(tables.batch.c.key == slug)
            if connection.execute(known).first() is None:
                return
            kept = connection.execute(select(OUTLOOK.c.version).where(here)).scalar()
            if kept is None:
                connection.execute(insert(OUTLOOK).values(batch=slug, **values))
            elif kept <= version:
                connection.execute(update(OUTLOOK).where(here).values(**values))
