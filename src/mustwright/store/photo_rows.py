"""Pictures of batches, as they were made ready to be kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, Engine, insert, select

from mustwright.services.batch.repository import PhotoRecord
from mustwright.services.repository import MissingRecordError
from mustwright.store import tables
from mustwright.store.batch_rows import live
from mustwright.store.engine import Clock, reading

PHOTO = tables.photo
_NO_CONTENT = [c for c in PHOTO.c if c.name != "content"]


class PhotoRows:
    """The part of `BatchStore` that keeps pictures."""

    _engine: Engine
    _clock: Clock

    def add_photo(self, photo: PhotoRecord) -> PhotoRecord:
        """Keep a picture."""
        with self._engine.begin() as connection:
            live(connection, photo.batch)
            keep_photos(connection, photo.batch, [photo])
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


def keep_photos(connection: Connection, slug: str, photos: Sequence[PhotoRecord]) -> None:
    """Write pictures of a batch, in the transaction of the lines that show them."""
    for photo in photos:
        connection.execute(insert(PHOTO).values(**_photo_row(replace(photo, batch=slug))))


def _photo_row(photo: PhotoRecord) -> dict[str, Any]:
    return {c.name: getattr(photo, c.name) for c in PHOTO.c}
