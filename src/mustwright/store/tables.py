"""Which tables does a cellar have?"""

from __future__ import annotations

from sqlalchemy import (
    CheckConstraint,
    Column,
    ForeignKey,
    Index,
    LargeBinary,
    MetaData,
    Table,
    UniqueConstraint,
)

from mustwright.store.column_types import Count, PlainText, UtcDateTime

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(column_0_label)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _kept(name: str, *own: Column[str]) -> Table:
    """A table of records that are versioned and only ever hidden, never removed."""
    return Table(
        name,
        metadata,
        Column("key", PlainText, primary_key=True),
        *own,
        Column("text", PlainText, nullable=False),
        Column("version", Count, nullable=False),
        Column("updated_at", UtcDateTime, nullable=False),
        Column("deleted_at", UtcDateTime),
        CheckConstraint("version >= 1", name="version_from_one"),
    )


sheet = _kept("sheet", Column("name", PlainText, nullable=False))
protocol = _kept("protocol")
nutrient = _kept("nutrient")

flag = Table(
    "flag",
    metadata,
    Column("name", PlainText, primary_key=True),
    Column("set_at", UtcDateTime, nullable=False),
)

batch = Table(
    "batch",
    metadata,
    Column("key", PlainText, primary_key=True),
    Column("name", PlainText, nullable=False),
    Column("sheet", PlainText, nullable=False),
    Column("version", Count, nullable=False),
    Column("updated_at", UtcDateTime, nullable=False),
    Column("deleted_at", UtcDateTime),
    Column("digest", PlainText, nullable=False),
    Column("digest_version", Count, nullable=False),
    Column("digest_at", UtcDateTime),
    CheckConstraint("version >= 1", name="version_from_one"),
)

# The log of a batch: lines are added, never changed and never removed.
entry = Table(
    "entry",
    metadata,
    Column("batch", PlainText, ForeignKey("batch.key"), primary_key=True),
    Column("seq", Count, primary_key=True, autoincrement=False),
    Column("id", PlainText, nullable=False),
    Column("kind", PlainText, nullable=False),
    Column("target", PlainText),
    Column("at", UtcDateTime, nullable=False),
    Column("logged_at", UtcDateTime, nullable=False),
    Column("who", PlainText, nullable=False),
    Column("content", PlainText, nullable=False),
    UniqueConstraint("batch", "id"),
    CheckConstraint("seq >= 1", name="seq_from_one"),
)
Index("ix_entry_target", entry.c.batch, entry.c.target)

# The forecast of a batch, worked out from the log of that version; may be lost and made again.
outlook = Table(
    "outlook",
    metadata,
    Column("batch", PlainText, ForeignKey("batch.key"), primary_key=True),
    Column("version", Count, nullable=False),
    Column("made_at", UtcDateTime, nullable=False),
    Column("content", PlainText, nullable=False),
)

# The part of a log that says how the batch stands, in our own form; may be lost and made again.
gist = Table(
    "gist",
    metadata,
    Column("batch", PlainText, ForeignKey("batch.key"), primary_key=True),
    Column("version", Count, nullable=False),
    Column("content", LargeBinary, nullable=False),
)

# Trials, tastings, and what finished batches taught: pages of JSON by kind and key.
notebook = Table(
    "notebook",
    metadata,
    Column("kind", PlainText, primary_key=True),
    Column("key", PlainText, primary_key=True),
    Column("content", PlainText, nullable=False),
    Column("version", Count, nullable=False),
    Column("updated_at", UtcDateTime, nullable=False),
    CheckConstraint("version >= 1", name="version_from_one"),
)

token = Table(
    "token",
    metadata,
    Column("id", PlainText, primary_key=True),
    Column("batch", PlainText, ForeignKey("batch.key")),
    Column("purpose", PlainText, nullable=False),
    Column("label", PlainText, nullable=False),
    Column("sha256", PlainText, nullable=False, unique=True),
    Column("created_at", UtcDateTime, nullable=False),
    Column("revoked_at", UtcDateTime),
)

photo = Table(
    "photo",
    metadata,
    Column("batch", PlainText, ForeignKey("batch.key"), primary_key=True),
    Column("id", PlainText, primary_key=True),
    Column("media_type", PlainText, nullable=False),
    Column("width", Count, nullable=False),
    Column("height", Count, nullable=False),
    Column("size_bytes", Count, nullable=False),
    Column("sha256", PlainText, nullable=False),
    Column("created_at", UtcDateTime, nullable=False),
    Column("content", LargeBinary, nullable=False),
)

setting = Table(
    "setting",
    metadata,
    Column("name", PlainText, primary_key=True),
    Column("value", PlainText, nullable=False),
    Column("updated_at", UtcDateTime, nullable=False),
)

session = Table(
    "session",
    metadata,
    Column("sha256", PlainText, primary_key=True),
    Column("created_at", UtcDateTime, nullable=False),
    Column("ends_at", UtcDateTime, nullable=False),
)
