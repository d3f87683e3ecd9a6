"""How is the cellar file opened: connections that lose no update, and migrations at opening."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, DateTime, Dialect, Engine, create_engine, event, inspect
from sqlalchemy.exc import DBAPIError
from sqlalchemy.types import TypeDecorator

from mustwright.errors import MustwrightError

HEAD = "0001"
BUSY_MS = 5000
Clock = Callable[[], datetime]


class StoreError(MustwrightError):
    """The cellar file cannot be opened or migrated; nothing was changed."""


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


def open_engine(path: Path, clock: Clock) -> Engine:
    """The engine of a cellar file, made or migrated to the newest revision first."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        engine = sqlite_engine(path)
        with engine.begin() as connection:
            found = revision(connection)
            is_empty = not inspect(connection).get_table_names()
        if found != HEAD:
            refuse_unknown(path, found)
            if not is_empty:
                back_up(path, found, clock)
            migrate(path)
    except (OSError, DBAPIError) as error:
        reason = getattr(error, "orig", None) or error
        raise StoreError(f"the cellar {path} cannot be opened: {reason}") from error
    return engine


def sqlite_engine(path: Path, *, foreign_keys: bool = True) -> Engine:
    """An engine whose transactions take the write lock at once.

    With SQLite's default a transaction that reads and then writes can overwrite what another one
    wrote in between; beginning with the lock makes it wait instead.
    """
    engine = create_engine(URL.create("sqlite", database=str(path)))

    @event.listens_for(engine, "connect")
    def _connected(connection: sqlite3.Connection, _record: object) -> None:
        connection.isolation_level = None  # the begin below is ours, not the driver's
        connection.execute(f"PRAGMA busy_timeout={BUSY_MS}")
        _write_ahead(connection)
        connection.execute(f"PRAGMA foreign_keys={'ON' if foreign_keys else 'OFF'}")

    @event.listens_for(engine, "begin")
    def _began(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    return engine


def _write_ahead(connection: sqlite3.Connection) -> None:
    """Switch to write-ahead logging, once for a file.

    The switch needs the file to itself, and SQLite answers "locked" at once there, whatever the
    busy timeout is: so it is tried again for as long as that timeout.
    """
    until = time.monotonic() + BUSY_MS / 1000
    while connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        try:
            connection.execute("PRAGMA journal_mode=WAL")
        except sqlite3.OperationalError:
            if time.monotonic() > until:
                raise
            time.sleep(0.02)


def revision(connection: Connection) -> str | None:
    """The revision a cellar is at; None when it was never migrated."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()


def refuse_unknown(path: Path, found: str | None) -> None:
    """Leave a cellar alone that is at a revision this version has never heard of."""
    from alembic.script import ScriptDirectory

    scripts = ScriptDirectory.from_config(alembic_config())
    if found is not None and found not in {s.revision for s in scripts.walk_revisions()}:
        raise StoreError(f"the cellar {path} was made by a newer version of mustwright")


def back_up(path: Path, found: str | None, clock: Clock) -> Path:
    """Copy a cellar beside itself before it is migrated."""
    moment = clock().astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
    copy = path.with_name(f"{path.name}.before-{HEAD}-from-{found or 'none'}-{moment}")
    source, target = sqlite3.connect(path), sqlite3.connect(copy)
    try:
        source.backup(target)
    finally:
        source.close()
        target.close()
    return copy


def migrate(path: Path, target: str = HEAD) -> None:
    """Bring a cellar to a revision, in one transaction; two at once do it once."""
    from alembic import command

    config = alembic_config()
    # Rebuilding a parent table deletes its children while foreign keys are enforced.
    engine = sqlite_engine(path, foreign_keys=False)
    try:
        with engine.begin() as connection:
            config.attributes["connection"] = connection
            command.upgrade(config, target)
            if broken := connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall():
                raise StoreError(f"migrating {path} would break {len(broken)} references")
    finally:
        engine.dispose()


def alembic_config() -> Any:
    """Where the migrations are."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "mustwright.store:migrations")
    config.set_main_option("path_separator", "os")
    return config
