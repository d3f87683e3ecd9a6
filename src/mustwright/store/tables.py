"""Which tables does a cellar have?"""

from __future__ import annotations

from sqlalchemy import (
    CheckConstraint,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

from mustwright.store.column_types import UtcDateTime

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
        Column("key", Text, primary_key=True),
        *own,
        Column("text", Text, nullable=False),
        Column("version", Integer, nullable=False),
        Column("updated_at", UtcDateTime, nullable=False),
        Column("deleted_at", UtcDateTime),
        CheckConstraint("version >= 1", name="version_from_one"),
    )


sheet = _kept("sheet", Column("name", Text, nullable=False))
protocol = _kept("protocol")
nutrient = _kept("nutrient")

flag = Table(
    "flag",
    metadata,
    Column("name", Text, primary_key=True),
    Column("set_at", UtcDateTime, nullable=False),
)

batch = Table(
    "batch",
    metadata,
    Column("key", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("sheet", Text, nullable=False),
    Column("version", Integer, nullable=False),
    Column("updated_at", UtcDateTime, nullable=False),
    Column("deleted_at", UtcDateTime),
    Column("digest", Text, nullable=False),
    Column("digest_version", Integer, nullable=False),
    Column("digest_at", UtcDateTime),
    CheckConstraint("version >= 1", name="version_from_one"),
)

# The log of a batch: lines are added, never changed and never removed.
entry = Table(
    "entry",
    metadata,
    Column("batch", Text, ForeignKey("batch.key"), primary_key=True),
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("id", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("target", Text),
    Column("at", UtcDateTime, nullable=False),
    Column("logged_at", UtcDateTime, nullable=False),
    Column("who", Text, nullable=False),
    Column("content", Text, nullable=False),
    UniqueConstraint("batch", "id"),
    CheckConstraint("seq >= 1", name="seq_from_one"),
)
Index("ix_entry_target", entry.c.batch, entry.c.target)

# The forecast of a batch, worked out from the log of that version; may be lost and made again.
outlook = Table(
    "outlook",
    metadata,
    Column("batch", Text, ForeignKey("batch.key"), primary_key=True),
    Column("version", Integer, nullable=False),
    Column("made_at", UtcDateTime, nullable=False),
    Column("content", Text, nullable=False),
)

# The part of a log that says how the batch stands, in our own form; may be lost and made again.
gist = Table(
    "gist",
    metadata,
    Column("batch", Text, ForeignKey("batch.key"), primary_key=True),
    Column("version", Integer, nullable=False),
    Column("content", LargeBinary, nullable=False),
)

# Trials, tastings, and what finished batches taught: pages of JSON by kind and key.
notebook = Table(
    "notebook",
    metadata,
    Column("kind", Text, primary_key=True),
    Column("key", Text, primary_key=True),
    Column("content", Text, nullable=False),
    Column("version", Integer, nullable=False),
    Column("updated_at", UtcDateTime, nullable=False),
    CheckConstraint("version >= 1", name="version_from_one"),
)

token = Table(
    "token",
    metadata,
    Column("id", Text, primary_key=True),
    Column("batch", Text, ForeignKey("batch.key")),
    Column("purpose", Text, nullable=False),
    Column("label", Text, nullable=False),
    Column("sha256", Text, nullable=False, unique=True),
    Column("created_at", UtcDateTime, nullable=False),
    Column("revoked_at", UtcDateTime),
)

photo = Table(
    "photo",
    metadata,
    Column("batch", Text, ForeignKey("batch.key"), primary_key=True),
    Column("id", Text, primary_key=True),
    Column("media_type", Text, nullable=False),
    Column("width", Integer, nullable=False),
    Column("height", Integer, nullable=False),
    Column("size_bytes", Integer, nullable=False),
    Column("sha256", Text, nullable=False),
    Column("created_at", UtcDateTime, nullable=False),
    Column("content", LargeBinary, nullable=False),
)

setting = Table(
    "setting",
    metadata,
    Column("name", Text, primary_key=True),
    Column("value", Text, nullable=False),
    Column("updated_at", UtcDateTime, nullable=False),
)

session = Table(
    "session",
    metadata,
    Column("sha256", Text, primary_key=True),
    Column("created_at", UtcDateTime, nullable=False),
    Column("ends_at", UtcDateTime, nullable=False),
)
