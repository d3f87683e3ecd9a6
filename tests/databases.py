"""A cellar in a file and one in PostgreSQL, each empty and of its own, for a test."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from uuid import uuid4

import pytest

VARIABLE = "MUSTWRIGHT_TEST_DATABASE"
KINDS = ("sqlite", "postgresql")


@contextmanager
def place_of(kind: str, folder: Path) -> Iterator[Path | str]:
    """Where an empty cellar can be made; skips where there is no PostgreSQL."""
    if kind == "sqlite":
        yield folder / "cellar.db"
        return
    base = os.environ.get(VARIABLE)
    if not base:
        pytest.skip(f"no PostgreSQL: {VARIABLE} is not set")
    import psycopg

    name = f"cellar_{uuid4().hex}"
    with psycopg.connect(base, autocommit=True) as server:
        server.execute(f"CREATE DATABASE {name}")
    try:
        yield base.rsplit("/", 1)[0] + f"/{name}"
    finally:
        with psycopg.connect(base, autocommit=True) as server:
            server.execute(f"DROP DATABASE {name} WITH (FORCE)")


@contextmanager
def store_of(kind: str, folder: Path, clock: Callable[[], datetime]):
    """An open store."""
    from mustwright.store.cellar_store import CellarStore

    with place_of(kind, folder) as place:
        store = CellarStore(place, clock, folder / "backups")
        try:
            yield store
        finally:
            store.close()
