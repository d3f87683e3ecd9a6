"""Keys of devices and calendars: only their hashes are kept."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Engine, Row, insert, select, update

from mustwright.services.batch.repository import TokenRecord
from mustwright.services.repository import MissingRecordError
from mustwright.store import tables
from mustwright.store.batch_rows import live
from mustwright.store.engine import Clock, reading

TOKEN = tables.token


class TokenRows:
    """The part of `BatchStore` that keeps tokens."""

    _engine: Engine
    _clock: Clock

    def add_token(
        self, id: str, batch: str | None, purpose: str, label: str, sha256: str
    ) -> TokenRecord:
        """Keep the hash of a new token."""
        with self._engine.begin() as connection:
            if batch is not None:
                live(connection, batch)
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


def _token(row: Row[Any]) -> TokenRecord:
    return TokenRecord(row.id, row.batch, row.purpose, row.label, row.created_at, row.revoked_at)
