"""How is a whole cellar restored from a copy: checked, built anew beside it, swapped in one step.

The copy is never put in place itself. Its records go into a new file with our own tables, each is
read back through the program, and only then do they take the place of what is there, in one
transaction during which nobody else writes. What was there is kept in a file of its own, made in
the same step: every line that was ever acknowledged is in one of the two.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path
from uuid import uuid4

from sqlalchemy import Connection, Engine, delete, insert, select

from mustwright.how_far import Progress, go_on, part_of, tell
from mustwright.services.repository import ForeignFileError, Restored
from mustwright.store import tables
from mustwright.store.backup import (
    back_up,
    copy_rows,
    drop,
    leave_out_keys,
    read_only,
    sqlite_copy,
)
from mustwright.store.engine import (
    IDENTITY,
    Clock,
    Place,
    StoreError,
    engine_of,
    is_postgresql,
    lock,
    shown,
)
from mustwright.store.migrating import refuse_unknown
from mustwright.store.opening import open_engine
from mustwright.store.reading_back import read_logs, read_rows
from mustwright.store.schema import refuse_other_layout
from mustwright.store.sealing import SEAL, is_signed
from mustwright.texts import say

PASSPHRASE = "passphrase"
# Worked out from the logs, and made again when it is next asked for.
DERIVED = ("outlook", "gist")
CHECK_S, CHECK_S_PER_BYTE = 60.0, 1e-6  # as long as a file may take to be looked through
TICKS = 100_000  # steps of SQLite's machine between two looks at the time


@dataclass(frozen=True)
class Checked:
    """What a look at a copy found."""

    sealed: bool
    own: bool
    revision: str


def restore(
    place: Place,
    source: Path,
    clock: Clock,
    aside_in: Path,
    key: bytes | None = None,
    *,
    foreign: bool = False,
    progress: Progress = go_on,
) -> Restored:
    """Bring a copy back as the whole cellar; the one that was there is kept aside.

    All sessions and tokens end; the passphrase stays that of the cellar that was there.

    Parameters
    ----------
    key : bytes or None
        That of this cellar's copies.
    foreign : bool
        Whether a copy that this cellar did not make is taken too.
    progress : callable
        Told how far it is; stopped by it until the new records take the place of the old ones.

    Raises
    ------
    StoreError
        If the copy is damaged, not a cellar, or from a newer version; nothing was changed.
    ForeignFileError
        If this cellar did not make it and `foreign` is false; nothing was changed.
    StoppedError
        If `progress` said not to go on; nothing was changed.
    """
    found = check(source, key)
    if not found.own and not foreign:
        sealed = say(
            "{source} was not made by this cellar: it carries the seal of another cellar",
            source=source,
        )
        bare = say("{source} was not made by this cellar: it carries no seal", source=source)
        raise ForeignFileError(sealed if found.sealed else bare)
    near = place.parent if isinstance(place, Path) else aside_in
    try:
        near.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle, name = tempfile.mkstemp(prefix=".restoring.", suffix=".db", dir=near)
        os.close(handle)
        part = Path(name)
        try:
            tell(progress, 0.1)
            rows = _built(part, source, clock, part_of(progress, 0.1, 0.9))
            tell(progress, 0.9)
            aside = _swap(place, part, clock, aside_in, key)
        finally:
            for left in part.parent.glob(f"{part.name}*"):
                drop(left)
    except (sqlite3.Error, OSError) as error:
        raise StoreError(
            say("{shown} cannot be restored: {error}", shown=shown(place), error=error)
        ) from error
    return Restored(rows, aside, found.sealed, found.own)


def check(source: Path, key: bytes | None = None) -> Checked:
    """Refuse a file that is damaged, not laid out as ours, or too new.

    Raises
    ------
    StoreError
    """
    if not source.is_file():
        raise StoreError(say("{source} is no file", source=source))
    try:
        with _looking_at(source) as copy:
            names = {
                r[0] for r in copy.execute("SELECT name FROM sqlite_master WHERE type='table'")
            }
            if "alembic_version" not in names:
                raise StoreError(say("{source} is no cellar", source=source))
            row = copy.execute("SELECT version_num FROM alembic_version").fetchone()
            if row is None or not isinstance(row[0], str):
                raise StoreError(say("{source} is no cellar: it says no version", source=source))
            refuse_unknown(source, row[0])
            refuse_other_layout(copy, source, row[0])
            verdict = [row[0] for row in copy.execute("PRAGMA integrity_check(1)")]
            if verdict != ["ok"]:
                raise StoreError(
                    say("{source} is damaged: {verdict}", source=source, verdict=verdict[0])
                )
            if copy.execute("PRAGMA foreign_key_check").fetchone():
                raise StoreError(
                    say("{source} is damaged: a reference leads nowhere", source=source)
                )
            sealed = SEAL in names
            return Checked(sealed, sealed and is_signed(copy, source, key), row[0])
    except (sqlite3.Error, UnicodeDecodeError, OverflowError) as error:
        raise StoreError(
            say("{source} is damaged or no cellar: {error}", source=source, error=error)
        ) from error


@contextmanager
def _looking_at(source: Path) -> Iterator[sqlite3.Connection]:
    """A copy opened to be read only, trusted in nothing, and for a limited time."""
    until = time.monotonic() + CHECK_S + source.stat().st_size * CHECK_S_PER_BYTE
    with closing(read_only(source)) as copy:
        copy.execute("PRAGMA trusted_schema=OFF")
        copy.execute("PRAGMA cell_size_check=ON")
        copy.set_progress_handler(lambda: time.monotonic() > until, TICKS)
        yield copy


def _built(part: Path, source: Path, clock: Clock, progress: Progress) -> dict[str, int]:
    """A new cellar with the records of a copy, each read back; rows by table."""
    with tempfile.TemporaryDirectory(prefix=".copy.", dir=part.parent) as folder:
        old = Path(folder) / "old.db"
        sqlite_copy(source, old)
        leave_out_keys(old)
        with closing(sqlite3.connect(old)) as copy:
            copy.execute(f"DROP TABLE IF EXISTS {SEAL}")
            copy.commit()
        open_engine(old, clock).dispose()  # migrated to the newest tables
        open_engine(part, clock).dispose()
        tell(progress, 0.3)
        with _engine(old) as before, _engine(part) as after:
            with before.begin() as here, after.begin() as there:
                read_rows(here, source, part_of(progress, 0.3, 0.5))
                copy_rows(here, there)
                for name in DERIVED:
                    there.execute(delete(tables.metadata.tables[name]))
                undone = {"digest": "", "digest_version": 0, "digest_at": None}
                there.execute(tables.batch.update().values(**undone))
            with after.connect() as connection:
                read_logs(connection, source, part_of(progress, 0.6, 1.0))
                return _counts(connection)


@contextmanager
def _engine(place: Place) -> Iterator[Engine]:
    engine = engine_of(place)
    try:
        yield engine
    finally:
        engine.dispose()


def _counts(connection: Connection) -> dict[str, int]:
    return {
        table.name: connection.exec_driver_sql(f"SELECT count(*) FROM {table.name}").scalar_one()
        for table in tables.metadata.sorted_tables
    }


def _swap(place: Place, part: Path, clock: Clock, folder: Path, key: bytes | None) -> Path | None:
    """The new records take the place of the old ones, while nobody else writes.

    Whoever writes meanwhile waits, or is told to come again. A server that is running sees the
    new cellar at once, whole.
    """
    is_new = isinstance(place, Path) and not place.exists()
    open_engine(place, clock, folder).dispose()
    with _engine(place) as engine, _engine(part) as new:
        with engine.begin() as here, new.begin() as source:
            _alone(here)
            aside = None if is_new else _set_aside(engine, clock, folder, key)
            passphrase = select(tables.setting).where(tables.setting.c.name == PASSPHRASE)
            kept = [dict(row) for row in here.execute(passphrase).mappings()]
            for table in reversed(tables.metadata.sorted_tables):
                here.execute(delete(table))
            copy_rows(source, here)
            here.execute(delete(tables.setting).where(tables.setting.c.name == IDENTITY))
            another = {"name": IDENTITY, "value": uuid4().hex, "updated_at": clock()}
            here.execute(insert(tables.setting), [*kept, another])
        return aside


def _alone(connection: Connection) -> None:
    """Nobody else writes until the transaction ends; SQLite has begun with that lock."""
    lock(connection)
    if is_postgresql(connection):
        names = ", ".join(table.name for table in tables.metadata.sorted_tables)
        connection.exec_driver_sql(f"LOCK TABLE {names} IN EXCLUSIVE MODE")


def _set_aside(engine: Engine, clock: Clock, folder: Path, key: bytes | None) -> Path:
    """A sealed copy of what is there now, under a name that is free."""
    moment = clock().astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
    path, number = folder / f"cellar.before-restore-{moment}.db", 1
    while path.exists():
        number += 1
        path = folder / f"cellar.before-restore-{moment}-{number}.db"
    back_up(engine, path, key)
    return path
