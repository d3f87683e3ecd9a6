"""How is a whole cellar copied: into one sealed SQLite file, from a file or a database."""

from __future__ import annotations

import hashlib
import os
import sqlite3
import tempfile
from contextlib import closing, suppress
from pathlib import Path

from sqlalchemy import Connection, Engine, Table, insert, inspect, select

from mustwright.store import tables
from mustwright.store.engine import StoreError, engine_of
from mustwright.store.migrating import HEAD, migrate, revision

SEAL = "seal"
CHUNK = 2000


def back_up(engine: Engine, target: Path) -> dict[str, int]:
    """Copy a cellar, as it stands at one moment, into a new sealed file; rows by table.

    Raises
    ------
    StoreError
        If the target exists already or cannot be written.
    """
    if target.exists():
        raise StoreError(f"{target} is there already: name a file that is not")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
        os.close(handle)
        part = Path(name)
    except OSError as error:
        raise StoreError(f"{target} cannot be written: {error.strerror}") from error
    try:
        _copy_out(engine, part)
        rows = _seal(part)
        _to_disk(part)
        os.link(part, target)  # unlike a rename, refuses a target that appeared meanwhile
    except (OSError, sqlite3.Error) as error:
        raise StoreError(f"{target} cannot be written: {error}") from error
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


def _seal(path: Path) -> dict[str, int]:
    """Write a digest of every table into the copy; rows by table."""
    with closing(sqlite3.connect(path)) as copy:
        copy.execute("PRAGMA journal_mode=DELETE")
        found = digests(copy)
        copy.execute(f"CREATE TABLE {SEAL} (name TEXT PRIMARY KEY, rows INTEGER, sha256 TEXT)")
        copy.executemany(
            f"INSERT INTO {SEAL} VALUES (?, ?, ?)", [(n, r, d) for n, (r, d) in found.items()]
        )
        copy.commit()
    return {name: rows for name, (rows, _) in found.items() if name != "alembic_version"}


def digests(copy: sqlite3.Connection) -> dict[str, tuple[int, str]]:
    """Rows and SHA-256 of each table, rows in the order of their key."""
    query = "SELECT name FROM sqlite_master WHERE type='table' AND name NOT LIKE 'sqlite_%'"
    names = sorted(r[0] for r in copy.execute(query) if r[0] != SEAL)
    found = {}
    for name in names:
        keys = [r[1] for r in copy.execute(f'PRAGMA table_info("{name}")') if r[5]]
        order = f" ORDER BY {', '.join(keys)}" if keys else ""
        digest, rows = hashlib.sha256(), 0
        for row in copy.execute(f'SELECT * FROM "{name}"{order}'):
            digest.update(repr(row).encode())
            rows += 1
        found[name] = (rows, digest.hexdigest())
    return found


def _to_disk(path: Path) -> None:
    with path.open("rb") as handle:
        os.fsync(handle.fileno())


def drop(path: Path) -> None:
    with suppress(OSError):
        path.unlink()
