"""How is the cellar opened: made, or copied aside and migrated to the newest revision."""

from __future__ import annotations

import sqlite3
from datetime import UTC
from pathlib import Path

from sqlalchemy import Engine, inspect
from sqlalchemy.exc import ArgumentError, DBAPIError

from mustwright.services.repository import CellarAwayError, UnwritableError
from mustwright.store.backup import back_up as back_up_rows
from mustwright.store.engine import Clock, Place, StoreError, engine_of, shown
from mustwright.store.migrating import HEAD, migrate, refuse_unknown, revision
from mustwright.store.own_files import own_file
from mustwright.texts import say


def open_engine(place: Place, clock: Clock, backups: Path | None = None) -> Engine:
    """The engine of a cellar, made or migrated to the newest revision first.

    Parameters
    ----------
    place : Path or str
        An SQLite file, or the address of a PostgreSQL database.
    backups : Path or None
        Where a PostgreSQL cellar is copied to before it is migrated; a file is copied beside
        itself.
    """
    try:
        engine = engine_of(place)
        with engine.execution_options(reads=True).begin() as connection:  # waits for no writer
            found = revision(connection)
            is_empty = not inspect(connection).get_table_names()
        if found != HEAD:
            refuse_unknown(place, found)
            if not is_empty:
                _back_up_first(engine, place, found, clock, backups)
            migrate(place)
    except (UnwritableError, CellarAwayError) as error:
        raise type(error)(
            say(
                "the cellar {shown} cannot be opened. {error}", shown=shown(place), error=error.text
            )
        ) from error
    except (OSError, DBAPIError, ArgumentError, ModuleNotFoundError) as error:
        reason = getattr(error, "orig", None) or error
        raise StoreError(
            say("the cellar {shown} cannot be opened: {reason}", shown=shown(place), reason=reason)
        ) from error
    return engine


def _back_up_first(
    engine: Engine, place: Place, found: str | None, clock: Clock, backups: Path | None
) -> None:
    if isinstance(place, Path):
        back_up(place, found, clock)
        return
    moment = clock().astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
    name = f"cellar.before-{HEAD}-from-{found or 'none'}-{moment}.db"
    back_up_rows(engine, (backups or Path.cwd()) / name)


def back_up(path: Path, found: str | None, clock: Clock) -> Path:
    """Copy a cellar beside itself before it is migrated."""
    moment = clock().astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
    copy = path.with_name(f"{path.name}.before-{HEAD}-from-{found or 'none'}-{moment}")
    own_file(copy)
    source, target = sqlite3.connect(path), sqlite3.connect(copy)
    try:
        source.backup(target)
    finally:
        source.close()
        target.close()
    return copy
