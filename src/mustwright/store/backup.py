"""How is a whole cellar copied: into one sealed SQLite file, from a file or a database.

What lets people in stays behind: the passphrase, sessions, and the tokens of devices and calendars.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
from contextlib import closing, suppress
from pathlib import Path

from sqlalchemy import Connection, Engine, Table, insert, inspect, select

from mustwright.store import tables
from mustwright.store.engine import StoreError, engine_of
from mustwright.store.migrating import HEAD, migrate, revision
from mustwright.store.sealing import seal
from mustwright.texts import say

CHUNK = 2000
LETS_IN = {
    "session": "DELETE FROM session",
    "token": "DELETE FROM token",
    "setting": "DELETE FROM setting WHERE name = 'passphrase'",
}


def back_up(engine: Engine, target: Path, key: bytes | None = None) -> dict[str, int]:
    """Copy a cellar, as it stands at one moment, into a new sealed file; rows by table.

    Parameters
    ----------
    key : bytes or None
        What the seal is signed with, so that the copy is known again; None leaves it unsigned.

    Raises
    ------
    StoreError
        If the target exists already or cannot be written.
    """
    if target.exists():
        raise StoreError(say("{target} is there already: name a file that is not", target=target))
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
        os.close(handle)
        part = Path(name)
    except OSError as error:
        raise StoreError(
            say("{target} cannot be written: {strerror}", target=target, strerror=error.strerror)
        ) from error
    try:
        _copy_out(engine, part)
        leave_out_keys(part)
        rows = seal(part, key)
        _to_disk(part)
        os.link(part, target)  # unlike a rename, refuses a target that appeared meanwhile
    except (OSError, sqlite3.Error) as error:
        raise StoreError(
            say("{target} cannot be written: {error}", target=target, error=error)
        ) from error
    finally:
        drop(part)
    return rows


def read_only(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)


def _copy_out(engine: Engine, part: Path) -> None:
    if engine.dialect.name == "sqlite":
        sqlite_copy(Path(str(engine.url.database)), part)
        return
    with engine.connect().execution_options(isolation_level="REPEATABLE READ") as source:
        found = revision(source)
        part.unlink()
        migrate(part, found or HEAD)
        target = engine_of(part, foreign_keys=False)
        try:
            with target.begin() as copy:
                copy_rows(source, copy)
        finally:
            target.dispose()


def sqlite_copy(source: Path, target: Path) -> None:
    """SQLite's own online copy: consistent while others write; WAL of the copy folded in."""
    with closing(read_only(source)) as old, closing(sqlite3.connect(target)) as new:
        old.backup(new)
        new.execute("PRAGMA journal_mode=DELETE")


def leave_out_keys(copy: Path) -> None:
    """Take out of a copy whatever lets people in, so that nothing of it is left in the file."""
    with closing(sqlite3.connect(copy)) as kept:
        kept.execute("PRAGMA secure_delete=ON")  # freed pages are written over
        names = {r[0] for r in kept.execute("SELECT name FROM sqlite_master WHERE type='table'")}
        for table, delete in LETS_IN.items():
            if table in names:
                kept.execute(delete)
        kept.commit()


def copy_rows(source: Connection, copy: Connection) -> None:
    """Every row of every table both know, parents first."""
    here, there = set(inspect(source).get_table_names()), set(inspect(copy).get_table_names())
    for table in tables.metadata.sorted_tables:
        if table.name in here and table.name in there:
            _copy_table(source, copy, table)


def _copy_table(source: Connection, copy: Connection, table: Table) -> None:
    result = source.execution_options(stream_results=True).execute(select(table))
    for rows in result.mappings().partitions(CHUNK):
        copy.execute(insert(table), [dict(row) for row in rows])


def _to_disk(path: Path) -> None:
    with path.open("rb") as handle:
        os.fsync(handle.fileno())


def drop(path: Path) -> None:
    with suppress(OSError):
        path.unlink()
