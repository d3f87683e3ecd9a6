"""What may a column hold: checked on the way in, the same for a file and for a database.

A file of SQLite takes nearly anything, PostgreSQL refuses it with an error of its own. Here both
refuse alike, with the error of a field that cannot be used.
"""

from __future__ import annotations

from datetime import UTC, datetime

from sqlalchemy import DateTime, Dialect, Integer, Text
from sqlalchemy.types import TypeDecorator

from mustwright.errors import InputError, not_plain
from mustwright.texts import say

GREATEST = 2**31 - 1  # PostgreSQL's integer


class PlainText(TypeDecorator[str]):
    """Text that can be kept and shown anywhere; see `mustwright.errors.not_plain`."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:  # noqa: ARG002
        """As it came, unless it holds what cannot be kept."""
        if value is not None and (wrong := not_plain(value)):
            raise InputError("text", say("needs plain text"), wrong)
        return None if value is None else str(value)


class Count(TypeDecorator[int]):
    """A whole number that every database can hold."""

    impl = Integer
    cache_ok = True

    def process_bind_param(self, value: int | None, dialect: Dialect) -> int | None:  # noqa: ARG002
        """As it came, unless it is too great."""
        if value is not None and not -GREATEST <= value <= GREATEST:
            needs = say("needs a whole number up to {most}", most=GREATEST)
            raise InputError("number", needs, say("a greater one"))
        return value


class UtcDateTime(TypeDecorator[datetime]):
    """A moment, kept as UTC; SQLite drops time zones, so a naive value is refused."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """To UTC on the way in."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"a time without a zone cannot be kept: {value!r}")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """To UTC on the way out."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)
