"""A cellar in a file and one in PostgreSQL, each empty and of its own, for a test."""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from uuid import uuid4

import pytest

VARIABLE = "MUSTWRIGHT_TEST_DATABASE"
KINDS = ("sqlite", "postgresql")


@contextmanager
def place_of(kind: str, folder: Path, *, migrated: bool = False) -> Iterator[Path | str]:
    """Where a cellar can be made, or a new one is; skips where there is no PostgreSQL.

    Parameters
    ----------
    migrated : bool
        Whether its tables are there already: copied from a template instead of migrated to.
    """
    if kind == "sqlite":
        if migrated:
            new_file(folder)
        yield folder / "cellar.db"
        return
    if not os.environ.get(VARIABLE):
        pytest.skip(f"no PostgreSQL: {VARIABLE} is not set")
    name = f"cellar_{uuid4().hex}"
    _on_server(f"CREATE DATABASE {name}{f' TEMPLATE {_template_database()}' if migrated else ''}")
    try:
        yield _address(name)
    finally:
        _on_server(f"DROP DATABASE {name} WITH (FORCE)")


@contextmanager
def store_of(kind: str, folder: Path, clock: Callable[[], datetime]):
    """An open store of a new cellar."""
    from mustwright.store.cellar_store import CellarStore

    with place_of(kind, folder, migrated=True) as place:
        store = CellarStore(place, clock, folder / "backups")
        try:
            yield store
        finally:
            store.close()


def new_file(home: Path) -> None:
    """Put the file of a new cellar into a data folder."""
    shutil.copyfile(_template_file(), home / "cellar.db")


@cache
def _template_file() -> Path:
    """A migrated file, made once in this process."""
    folder = Path(tempfile.mkdtemp(prefix="mustwright-template-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    _migrate(folder / "cellar.db")
    return folder / "cellar.db"


@cache
def _template_database() -> str:
    """A migrated database of the server, made once in this process."""
    name = f"template_{uuid4().hex}"
    _on_server(f"CREATE DATABASE {name}")
    atexit.register(_on_server, f"DROP DATABASE {name} WITH (FORCE)")
    _migrate(_address(name))
    return name


def _migrate(place: Path | str) -> None:
    from mustwright.store.opening import open_engine

    open_engine(place, lambda: datetime(2031, 5, 1, tzinfo=UTC)).dispose()


def _address(name: str) -> str:
    return os.environ[VARIABLE].rsplit("/", 1)[0] + f"/{name}"


def _on_server(statement: str) -> None:
    import psycopg

    with psycopg.connect(os.environ[VARIABLE], autocommit=True) as server:
        server.execute(statement)
