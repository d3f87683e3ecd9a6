"""How is the cellar opened: connections that lose no update, and migrations at opening."""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from sqlalchemy import (
    URL,
    Connection,
    DateTime,
    Dialect,
    Engine,
    create_engine,
    event,
    inspect,
    make_url,
)
from sqlalchemy.exc import ArgumentError, DBAPIError
from sqlalchemy.pool import ConnectionPoolEntry
from sqlalchemy.types import TypeDecorator

from mustwright.errors import MustwrightError

HEAD = "0003"
BUSY_MS = 5000
# Connections kept open: as many as requests are answered at once on a busy day. Beyond them each is
# opened for one question and closed again, which costs more than the question.
POOL: dict[str, Any] = {"pool_size": 20, "max_overflow": 20}
LOCK = 7_265_218  # any number, the same in every process
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


Place = Path | str


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
        with engine.begin() as connection:
            found = revision(connection)
            is_empty = not inspect(connection).get_table_names()
        if found != HEAD:
            refuse_unknown(place, found)
            if not is_empty:
                _back_up_first(engine, place, found, clock, backups)
            migrate(place)
    except (OSError, DBAPIError, ArgumentError, ModuleNotFoundError) as error:
        reason = getattr(error, "orig", None) or error
        raise StoreError(f"the cellar {shown(place)} cannot be opened: {reason}") from error
    return engine


def engine_of(place: Place, *, foreign_keys: bool = True) -> Engine:
    """An engine that loses no update, of a file or of a database by its address."""
    if isinstance(place, Path):
        place.parent.mkdir(parents=True, exist_ok=True)
        return sqlite_engine(place, foreign_keys=foreign_keys)
    url = make_url(place)
    if url.get_backend_name() == "sqlite":
        return engine_of(Path(url.database or ""), foreign_keys=foreign_keys)
    if url.get_backend_name() != "postgresql":
        raise StoreError("a cellar is an SQLite file or a postgresql:// address")
    return create_engine(url.set(drivername="postgresql+psycopg"), pool_pre_ping=True, **POOL)


def shown(place: Place) -> str:
    """The place as it may be shown: without a password."""
    if isinstance(place, Path):
        return str(place)
    try:
        return make_url(place).render_as_string(hide_password=True)
    except ArgumentError:
        return "address"


def is_postgresql(connection: Connection) -> bool:
    """Whether a connection leads to PostgreSQL."""
    return connection.dialect.name == "postgresql"


def lock(connection: Connection) -> None:
    """One writer at a time for the rest of the transaction; SQLite has begun with that lock."""
    if is_postgresql(connection):
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({LOCK})")


def _back_up_first(
    engine: Engine, place: Place, found: str | None, clock: Clock, backups: Path | None
) -> None:
    if isinstance(place, Path):
        back_up(place, found, clock)
        return
    from mustwright.store.copying import back_up as back_up_rows

    moment = clock().astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
    name = f"cellar.before-{HEAD}-from-{found or 'none'}-{moment}.db"
    back_up_rows(engine, (backups or Path.cwd()) / name)


def sqlite_engine(path: Path, *, foreign_keys: bool = True) -> Engine:
    """An engine whose transactions take the write lock at once.

    With SQLite's default a transaction that reads and then writes can overwrite what another one
    wrote in between; beginning with the lock makes it wait instead.
    """
    engine = create_engine(URL.create("sqlite", database=str(path)), **POOL)

    @event.listens_for(engine, "connect")
    def _connected(connection: sqlite3.Connection, _record: object) -> None:
        connection.isolation_level = None  # the begin below is ours, not the driver's
        connection.execute(f"PRAGMA busy_timeout={BUSY_MS}")
        _write_ahead(connection)
        connection.execute(f"PRAGMA foreign_keys={'ON' if foreign_keys else 'OFF'}")

    turn = threading.Lock()  # SQLite lets writers in by chance: one may wait past its time

    @event.listens_for(engine, "begin")
    def _began(connection: Connection) -> None:
        if connection.get_execution_options().get("reads", False):
            driver = connection.connection.dbapi_connection
            assert driver is not None
            driver.cursor().execute("BEGIN")  # never refused; the long way takes ten times as long
            return
        connection.info["turn"] = turn.acquire(timeout=BUSY_MS / 1000)
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    @event.listens_for(engine, "checkin")
    def _given_back(_connection: sqlite3.Connection, record: ConnectionPoolEntry) -> None:
        if record.info.pop("turn", False):
            turn.release()

    return engine


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """A transaction that only reads: it waits for no writer, and sees one moment.

    Within another one of the same thread it is that one: what is asked in between sees one moment,
    and costs no transaction of its own. A thread keeps its connection to a file for the next time;
    one to a server may be cut meanwhile, and goes back to be tested.
    """
    held = _held.by_thread
    if held is not None and held[0] is engine:
        yield held[1]
        return
    if held is not None:  # in the midst of another cellar
        with _that_reads(engine).begin() as connection:
            yield connection
        return
    connection = _own_connection(engine)
    try:
        with connection.begin():
            _held.by_thread = (engine, connection)
            try:
                yield connection
            finally:
                _held.by_thread = None
    finally:
        if is_postgresql(connection):
            connection.close()


class _Held(threading.local):
    """Of one thread: the transaction it is in, and the connection it reads a file by."""

    by_thread: tuple[Engine, Connection] | None = None
    own: tuple[Engine, Connection] | None = None


_held = _Held()


def _own_connection(engine: Engine) -> Connection:
    own = _held.own
    if own is None or own[0] is not engine or own[1].closed:
        let_go()
        own = _held.own = (engine, _that_reads(engine).connect())
    return own[1]


def let_go() -> None:
    """Close the connection that this thread has kept; the others' end with their threads."""
    if _held.own is not None:
        _held.own[1].close()
        _held.own = None


@lru_cache(maxsize=4)
def _that_reads(engine: Engine) -> Engine:
    """The same engine, marked; made once, as each page asks several times."""
    return engine.execution_options(reads=True)


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


def refuse_unknown(place: Place, found: str | None) -> None:
    """Leave a cellar alone that is at a revision this version has never heard of."""
    from alembic.script import ScriptDirectory

    scripts = ScriptDirectory.from_config(alembic_config())
    if found is not None and found not in {s.revision for s in scripts.walk_revisions()}:
        raise StoreError(f"the cellar {shown(place)} was made by a newer version of mustwright")


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


def migrate(place: Place, target: str = HEAD) -> None:
    """Bring a cellar to a revision, in one transaction; two at once do it once."""
    from alembic import command

    config = alembic_config()
    # Rebuilding a parent table deletes its children while foreign keys are enforced.
    engine = engine_of(place, foreign_keys=False)
    try:
        with engine.begin() as connection:
            lock(connection)
            config.attributes["connection"] = connection
            command.upgrade(config, target)
            if not is_postgresql(connection):
                broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
                if broken:
                    raise StoreError(
                        f"migrating {shown(place)} would break {len(broken)} references"
                    )
    finally:
        engine.dispose()


def alembic_config() -> Any:
    """Where the migrations are."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "mustwright.store:migrations")
    config.set_main_option("path_separator", "os")
    return config
