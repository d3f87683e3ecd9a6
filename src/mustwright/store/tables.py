"""Which tables does a cellar have."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, Column, Integer, MetaData, Table, Text

from mustwright.store.engine import UtcDateTime

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
