"""How is the cellar reached: connections that lose no update, to a file or a database."""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from sqlalchemy import (
    URL,
    Connection,
    Engine,
    create_engine,
    event,
    make_url,
)
from sqlalchemy.exc import ArgumentError, SQLAlchemyError
from sqlalchemy.pool import ConnectionPoolEntry

from mustwright.errors import MustwrightError
from mustwright.services.repository import CellarAwayError, UnwritableError
from mustwright.store.failing import meaning_of, say_what_it_means
from mustwright.store.own_files import own_file, own_folder
from mustwright.texts import say

BUSY_MS = 5000
# Connections kept open: as many as requests are answered at once on a busy day. Beyond them each is
# opened for one question and closed again, which costs more than the question.
POOL: dict[str, Any] = {"pool_size": 20, "max_overflow": 20}
IDENTITY = "identity"  # the setting that tells one cellar from another that took its place
# Values of a statement may be secrets, or the maker's own words: none of them in a traceback.
SHOWN: dict[str, Any] = {"hide_parameters": True}
LOCK = 7_265_218  # any number, the same in every process
Clock = Callable[[], datetime]


class StoreError(MustwrightError):
    """The cellar file cannot be opened or migrated; nothing was changed."""


Place = Path | str


def engine_of(place: Place, *, foreign_keys: bool = True) -> Engine:
    """An engine that loses no update, of a file or of a database by its address."""
    if isinstance(place, Path):
        own_folder(place.parent)
        own_file(place)
        return sqlite_engine(place, foreign_keys=foreign_keys)
    url = make_url(place)
    if url.get_backend_name() == "sqlite":
        return engine_of(Path(url.database or ""), foreign_keys=foreign_keys)
    if url.get_backend_name() != "postgresql":
        raise StoreError(say("a cellar is an SQLite file or a postgresql:// address"))
    engine = create_engine(
        url.set(drivername="postgresql+psycopg"), pool_pre_ping=True, **POOL, **SHOWN
    )
    say_what_it_means(engine)
    return engine


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


def sqlite_engine(path: Path, *, foreign_keys: bool = True) -> Engine:
    """An engine whose transactions take the write lock at once.

    With SQLite's default a transaction that reads and then writes can overwrite what another one
    wrote in between; beginning with the lock makes it wait instead.
    """
    engine = create_engine(URL.create("sqlite", database=str(path)), **POOL, **SHOWN)
    say_what_it_means(engine)

    @event.listens_for(engine, "connect")
    def _connected(connection: sqlite3.Connection, _record: object) -> None:
        connection.isolation_level = None  # the begin below is ours, not the driver's
        connection.execute(f"PRAGMA busy_timeout={BUSY_MS}")
        _write_ahead(connection)
        connection.execute(f"PRAGMA foreign_keys={'ON' if foreign_keys else 'OFF'}")

    turn = threading.Lock()  # SQLite lets writers in at random: one may wait past its time

    @event.listens_for(engine, "begin")
    def _began(connection: Connection) -> None:
        if connection.get_execution_options().get("reads", False):
            driver = connection.connection.dbapi_connection
            assert driver is not None
            driver.cursor().execute("BEGIN")  # reads nothing yet; takes a tenth of the time
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

    Inside another one of the same thread it is that one: everything asked inside sees one moment
    and needs no further transaction. A thread keeps its connection to a file for the next time;
    one to a server may be cut meanwhile, and goes back to be tested.
    """
    held = _held.by_thread
    if held is not None and held[0] is engine:
        yield held[1]
        return
    if held is not None:  # inside a transaction of another cellar
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
    except (UnwritableError, CellarAwayError, SQLAlchemyError):
        let_go()  # whatever state it is in, the next question gets a new one
        raise
    except sqlite3.Error as error:
        let_go()
        raise meaning_of(error) or error from error
    finally:
        if is_postgresql(connection):
            connection.close()


def last_change(connection: Connection) -> tuple[int, int] | None:
    """Another one after each change of the file, by this connection or others; None for a server.

    Takes a hundredth of the time in which a table of thousands is looked through.
    """
    if is_postgresql(connection):
        return None
    by_others = connection.exec_driver_sql("PRAGMA data_version").scalar_one()
    file = connection.connection.dbapi_connection
    assert isinstance(file, sqlite3.Connection)
    return by_others, file.total_changes


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


def let_go(of: Engine | None = None) -> None:
    """Close the connection that this thread has kept; others end with their threads.

    Parameters
    ----------
    of : Engine or None
        Only a connection of this one; None closes whichever is kept.
    """
    if _held.own is not None and of in (None, _held.own[0]):
        _held.own[1].close()
        _held.own = None


@lru_cache(maxsize=4)
def _that_reads(engine: Engine) -> Engine:
    """The same engine, marked; made once, as each page asks several times."""
    return engine.execution_options(reads=True)


def _write_ahead(connection: sqlite3.Connection) -> None:
    """Switch to write-ahead logging, once for a file.

    The switch needs the file to itself, and SQLite then answers "locked" at once, whatever the
    busy timeout is; so it is tried again for as long as that timeout.
    """
    until = time.monotonic() + BUSY_MS / 1000
    while connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        try:
            connection.execute("PRAGMA journal_mode=WAL")
        except sqlite3.OperationalError:
            if time.monotonic() > until:
                raise
            time.sleep(0.02)
