"""A disk that fails at a chosen write, and tells of it as the real one would."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Engine, event

CHANGES = ("INSERT", "UPDATE", "DELETE")
FAULTS = ("full", "read-only", "failing")
SQLITE = {
    "full": (sqlite3.OperationalError, "SQLITE_FULL", "database or disk is full"),
    "read-only": (sqlite3.OperationalError, "SQLITE_READONLY_DBMOVED", "attempt to write"),
    "failing": (sqlite3.OperationalError, "SQLITE_IOERR_WRITE", "disk I/O error"),
}


def fault_of(dialect: str, fault: str) -> Exception:
    """The driver's own error."""
    if dialect == "postgresql":
        from psycopg import errors

        kinds = {"full": errors.DiskFull, "read-only": errors.ReadOnlySqlTransaction,
                 "failing": errors.IoError}  # fmt: skip
        return kinds[fault]("it failed")
    kind, name, words = SQLITE[fault]
    error = kind(words)
    error.sqlite_errorname = name
    return error


class Disk:
    """Counts writes and commits; the one that `fails_at` names fails, and with `stays` all after.

    `fails_at` counts from 1; 0 lets everything through.
    """

    def __init__(self, fault: str = "full") -> None:
        self.fault, self.fails_at, self.stays, self.count = fault, 0, True, 0
        self.is_writing = False

    def write(self, dialect: str) -> None:
        self.count += 1
        if self.fails_at and (self.count == self.fails_at or
                              (self.stays and self.count > self.fails_at)):  # fmt: skip
            self.is_writing = False  # the transaction is given up
            raise fault_of(dialect, self.fault)


@contextmanager
def disk_of(engine: Engine, fault: str = "full") -> Iterator[Disk]:
    """The disk under an engine."""
    disk, name = Disk(fault), engine.dialect.name
    committed = engine.dialect.do_commit

    def execute(_cursor, statement, _parameters, _context) -> None:
        if statement.lstrip().upper().startswith(CHANGES):
            disk.is_writing = True
            disk.write(name)

    def commit(connection) -> None:
        if disk.is_writing:
            disk.is_writing = False
            disk.write(name)
        committed(connection)

    for kind in ("do_execute", "do_executemany"):
        event.listen(engine, kind, execute)
    engine.dialect.do_commit = commit
    try:
        yield disk
    finally:
        engine.dialect.do_commit = committed
        for kind in ("do_execute", "do_executemany"):
            event.remove(engine, kind, execute)
