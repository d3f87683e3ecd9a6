"""How is a whole cellar copied out and brought back: one sealed SQLite file, from file or URL."""

from __future__ import annotations

import hashlib
import os
import sqlite3
import tempfile
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, Table, delete, insert, inspect, select

from mustwright.store import tables
from mustwright.store.engine import (
    HEAD,
    Clock,
    Place,
    StoreError,
    engine_of,
    is_postgresql,
    lock,
    migrate,
    open_engine,
    refuse_unknown,
    revision,
    shown,
)

SEAL = "seal"
CHUNK = 2000
NEEDED = {"sheet", "protocol", "nutrient", "flag", "alembic_version"}


@dataclass(frozen=True)
class Restored:
    """What a restoration did: rows by table, and where the cellar that was there is kept."""

    rows: dict[str, int]
    aside: Path | None
    sealed: bool


def back_up(engine: Engine, target: Path) -> dict[str, int]:
    """Copy a cellar, as it stands at one moment, into a new sealed file; rows by table.

    Raises
    ------
    StoreError
        When the target is there already or cannot be written.
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
        os.link(part, target)  # refuses, as a rename would not, a target that came meanwhile
    except (OSError, sqlite3.Error) as error:
        raise StoreError(f"{target} cannot be written: {error}") from error
    finally:
        _drop(part)
    return rows


def restore(place: Place, source: Path, clock: Clock, aside_in: Path) -> Restored:
    """Bring a copy back as the whole cellar; the one that was there is kept aside.

    Raises
    ------
    StoreError
        When the copy is damaged, is no cellar or is from a newer version; nothing was changed.
    """
    sealed = check(source)
    handle, name = tempfile.mkstemp(prefix=".restoring.", suffix=".db")
    os.close(handle)
    part = Path(name)
    try:
        _sqlite_copy(source, part)
        with closing(sqlite3.connect(part)) as copy:
            copy.execute(f"DROP TABLE IF EXISTS {SEAL}")
            copy.commit()
        open_engine(part, clock).dispose()  # brought to the newest tables before it goes in
        aside = _set_aside(place, clock, aside_in)
        _bring_in(place, part)
        return Restored(_counts(part), aside, sealed)
    except sqlite3.Error as error:
        raise StoreError(f"{shown(place)} cannot be restored: {error}") from error
    finally:
        for left in part.parent.glob(f"{part.name}*"):
            _drop(left)


def check(source: Path) -> bool:
    """Refuse a file that is damaged, no cellar, or too new; whether it carries a seal."""
    if not source.is_file():
        raise StoreError(f"{source} is no file")
    try:
        with closing(_read_only(source)) as copy:
            verdict = [row[0] for row in copy.execute("PRAGMA integrity_check(1)")]
            if verdict != ["ok"]:
                raise StoreError(f"{source} is damaged: {verdict[0]}")
            names = {
                r[0] for r in copy.execute("SELECT name FROM sqlite_master WHERE type='table'")
            }
            if not names >= NEEDED:
                raise StoreError(f"{source} is no cellar")
            if copy.execute("PRAGMA foreign_key_check").fetchone():
                raise StoreError(f"{source} is damaged: a reference leads nowhere")
            refuse_unknown(
                source, copy.execute("SELECT version_num FROM alembic_version").fetchone()[0]
            )
            if SEAL not in names:
                return False
            kept = dict(copy.execute(f"SELECT name, sha256 FROM {SEAL}").fetchall())
            for name, (_, digest) in _digests(copy).items():
                if kept.get(name) != digest:
                    raise StoreError(f"{source} is damaged: the seal of '{name}' is broken")
            return True
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise StoreError(f"{source} is damaged or no cellar: {error}") from error


def _read_only(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)


def _copy_out(engine: Engine, part: Path) -> None:
    if engine.dialect.name == "sqlite":
        _sqlite_copy(Path(str(engine.url.database)), part)
        return
    with engine.connect().execution_options(isolation_level="REPEATABLE READ") as source:
        found = revision(source)
        part.unlink()
        migrate(part, found or HEAD)
        target = engine_of(part, foreign_keys=False)
        try:
            with target.begin() as copy:
                _copy_rows(source, copy)
        finally:
            target.dispose()


def _sqlite_copy(source: Path, target: Path) -> None:
    """SQLite's own online copy: consistent while others write; WAL of the copy folded in."""
    with closing(_read_only(source)) as old, closing(sqlite3.connect(target)) as new:
        old.backup(new)
        new.execute("PRAGMA journal_mode=DELETE")


def _copy_rows(source: Connection, copy: Connection) -> None:
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
        found = _digests(copy)
        copy.execute(f"CREATE TABLE {SEAL} (name TEXT PRIMARY KEY, rows INTEGER, sha256 TEXT)")
        copy.executemany(
            f"INSERT INTO {SEAL} VALUES (?, ?, ?)", [(n, r, d) for n, (r, d) in found.items()]
        )
        copy.commit()
    return {name: rows for name, (rows, _) in found.items() if name != "alembic_version"}


def _digests(copy: sqlite3.Connection) -> dict[str, tuple[int, str]]:
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


def _counts(path: Path) -> dict[str, int]:
    with closing(_read_only(path)) as copy:
        return {n: r for n, (r, _) in _digests(copy).items() if n != "alembic_version"}


def _set_aside(place: Place, clock: Clock, folder: Path) -> Path | None:
    """A sealed copy of what is there now; None where there is nothing yet."""
    if isinstance(place, Path) and not place.exists():
        return None
    engine = open_engine(place, clock, folder)
    moment = clock().astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
    try:
        path = folder / f"cellar.before-restore-{moment}.db"
        number = 1
        while path.exists():
            number += 1
            path = folder / f"cellar.before-restore-{moment}-{number}.db"
        back_up(engine, path)
        return path
    finally:
        engine.dispose()


def _bring_in(place: Place, part: Path) -> None:
    """The copy becomes the cellar in one transaction; a server that is running sees it at once."""
    engine = engine_of(place)
    try:
        if engine.dialect.name == "sqlite":
            with closing(_read_only(part)) as new, closing(sqlite3.connect(str(place))) as here:
                here.execute("PRAGMA busy_timeout=5000")
                new.backup(here)
            return
        open_engine(place, _no_clock).dispose()
        source = engine_of(part)
        with source.begin() as old, engine.begin() as here:
            lock(here)
            assert is_postgresql(here)
            for table in reversed(tables.metadata.sorted_tables):
                here.execute(delete(table))
            _copy_rows(old, here)
        source.dispose()
    finally:
        engine.dispose()


def _no_clock() -> Any:
    raise StoreError("the cellar changed while it was restored")


def _to_disk(path: Path) -> None:
    with path.open("rb") as handle:
        os.fsync(handle.fileno())


def _drop(path: Path) -> None:
    with suppress(OSError):
        path.unlink()
