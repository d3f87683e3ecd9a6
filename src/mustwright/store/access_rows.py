"""Who may come in: settings of the cellar and sessions, in the database."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Engine, bindparam, delete, insert, select

from mustwright.store import tables
from mustwright.store.engine import Clock, lock, reading

# Asked at every look: written once, as making a query takes longer than answering it.
_SETTING = select(tables.setting.c.value).where(tables.setting.c.name == bindparam("setting"))


class AccessRows:
    """The part of `BatchStore` that keeps settings and sessions."""

    _engine: Engine
    _clock: Clock

    def setting(self, name: str) -> str | None:
        """A setting of the cellar."""
        with reading(self._engine) as connection:
            return connection.execute(_SETTING, {"setting": name}).scalar()

    def keep_setting(self, name: str, value: str | None) -> None:
        """Write a setting, or take it away."""
        table = tables.setting
        with self._engine.begin() as connection:
            lock(connection)
            connection.execute(delete(table).where(table.c.name == name))
            if value is not None:
                row = {"name": name, "value": value, "updated_at": self._clock()}
                connection.execute(insert(table).values(**row))

    def add_session(self, sha256: str, ends_at: datetime) -> None:
        """Keep the hash of a new session; those that have ended go."""
        table, moment = tables.session, self._clock()
        with self._engine.begin() as connection:
            connection.execute(delete(table).where(table.c.ends_at < moment))
            row = {"sha256": sha256, "created_at": moment, "ends_at": ends_at}
            connection.execute(insert(table).values(**row))

    def session_ends(self, sha256: str) -> datetime | None:
        """When a session ends; None when there is none, or it has ended."""
        table = tables.session
        query = select(table.c.ends_at).where(table.c.sha256 == sha256)
        with reading(self._engine) as connection:
            ends = connection.execute(query).scalar()
        return ends if ends is not None and ends > self._clock() else None

    def end_sessions(self, sha256: str | None = None) -> None:
        """End one session, or all of them."""
        query = delete(tables.session)
        if sha256 is not None:
            query = query.where(tables.session.c.sha256 == sha256)
        with self._engine.begin() as connection:
            connection.execute(query)
