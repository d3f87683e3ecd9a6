"""What does the database's refusal mean for the maker: said in one sentence, in one place."""

from __future__ import annotations

import sqlite3

from sqlalchemy import Engine, event
from sqlalchemy.engine import ExceptionContext

from mustwright.errors import MustwrightError
from mustwright.services.repository import CellarAwayError, UnwritableError
from mustwright.texts import say

FULL = say("The disk with the cellar is full. Nothing was written: make room, then send it again.")
READ_ONLY = say(
    "The cellar cannot be written: its disk or file is read-only. Nothing was written: put that"
    " right, then send it again."
)
FAILING = say(
    "The disk with the cellar fails to read or write. Nothing was written: look after the disk,"
    " then send it again."
)
BUSY = say("The cellar is busy. Nothing was written: send it again in a moment.")
AWAY = say(
    "The database with the cellar cannot be reached. Nothing was written: send it again later."
)

# By the beginning of SQLite's name for an error.
_BY_NAME: tuple[tuple[str, type[MustwrightError], str], ...] = (
    ("SQLITE_FULL", UnwritableError, FULL),
    ("SQLITE_READONLY", UnwritableError, READ_ONLY),
    ("SQLITE_PERM", UnwritableError, READ_ONLY),
    ("SQLITE_CANTOPEN", UnwritableError, FAILING),
    ("SQLITE_IOERR", UnwritableError, FAILING),
    ("SQLITE_BUSY", CellarAwayError, BUSY),
    ("SQLITE_LOCKED", CellarAwayError, BUSY),
)
# By the beginning of PostgreSQL's code (appendix A of its manual); the longest first.
_BY_CODE: tuple[tuple[str, type[MustwrightError], str], ...] = (
    ("53100", UnwritableError, FULL),
    ("25006", UnwritableError, READ_ONLY),
    ("58", UnwritableError, FAILING),
    ("40", CellarAwayError, BUSY),
    ("55P03", CellarAwayError, BUSY),
    ("53", CellarAwayError, BUSY),
    ("57", CellarAwayError, AWAY),
    ("08", CellarAwayError, AWAY),
)


def meaning_of(error: BaseException | None) -> MustwrightError | None:
    """What an error of a driver means; None where it is not the disk's or the server's."""
    if isinstance(error, sqlite3.Error):
        return _found(_BY_NAME, getattr(error, "sqlite_errorname", None) or "")
    code = getattr(error, "sqlstate", "")
    if code:
        return _found(_BY_CODE, code)
    if type(error).__module__.startswith("psycopg") and type(error).__name__ in (
        "OperationalError", "ConnectionTimeout", "InterfaceError",
    ):  # fmt: skip
        return CellarAwayError(AWAY)
    return None


def _found(
    table: tuple[tuple[str, type[MustwrightError], str], ...], said: str
) -> MustwrightError | None:
    return next((kind(words) for start, kind, words in table if said.startswith(start)), None)


def say_what_it_means(engine: Engine) -> None:
    """Let every error of this engine reach the program as what it means for the maker."""

    @event.listens_for(engine, "handle_error", retval=True)
    def _said(context: ExceptionContext) -> BaseException | None:
        original = context.original_exception
        if isinstance(original, MustwrightError):  # a value that a column refused
            return original
        return meaning_of(original)
