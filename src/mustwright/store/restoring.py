"""How is a whole cellar restored from a copy: checked, the old one kept aside, swapped."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path
from typing import Any

from sqlalchemy import delete

from mustwright.store import tables
from mustwright.store.backup import (
    SEAL,
    back_up,
    copy_rows,
    digests,
    drop,
    read_only,
    sqlite_copy,
)
from mustwright.store.engine import (
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

NEEDED = {"sheet", "protocol", "nutrient", "flag", "alembic_version"}


@dataclass(frozen=True)
class Restored:
    """What a restoration did: rows by table, and where the cellar that was there is kept."""

    rows: dict[str, int]
    aside: Path | None
    sealed: bool


def restore(place: Place, source: Path, clock: Clock, aside_in: Path) -> Restored:
    """Bring a copy back as the whole cellar; the one that was there is kept aside.

    Raises
    ------
    StoreError
        If the copy is damaged, not a cellar, or from a newer version; nothing was changed.
    """
    sealed = check(source)
    handle, name = tempfile.mkstemp(prefix=".restoring.", suffix=".db")
    os.close(handle)
    part = Path(name)
    try:
        sqlite_copy(source, part)
        with closing(sqlite3.connect(part)) as copy:
            copy.execute(f"DROP TABLE IF EXISTS {SEAL}")
            copy.commit()
        open_engine(part, clock).dispose()  # migrated to the newest tables before it goes in
        aside = _set_aside(place, clock, aside_in)
        _bring_in(place, part)
        return Restored(_counts(part), aside, sealed)
    except sqlite3.Error as error:
        raise StoreError(f"{shown(place)} cannot be restored: {error}") from error
    finally:
        for left in part.parent.glob(f"{part.name}*"):
            drop(left)


def check(source: Path) -> bool:
    """Refuse a file that is damaged, not a cellar, or too new; return whether it has a seal."""
    if not source.is_file():
        raise StoreError(f"{source} is no file")
    try:
        with closing(read_only(source)) as copy:
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
            for name, (_, digest) in digests(copy).items():
                if kept.get(name) != digest:
                    raise StoreError(f"{source} is damaged: the seal of '{name}' is broken")
            return True
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise StoreError(f"{source} is damaged or no cellar: {error}") from error


def _counts(path: Path) -> dict[str, int]:
    with closing(read_only(path)) as copy:
        return {n: r for n, (r, _) in digests(copy).items() if n != "alembic_version"}


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
            with closing(read_only(part)) as new, closing(sqlite3.connect(str(place))) as here:
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
            copy_rows(old, here)
        source.dispose()
    finally:
        engine.dispose()


def _no_clock() -> Any:
    raise StoreError("the cellar changed while it was restored")
