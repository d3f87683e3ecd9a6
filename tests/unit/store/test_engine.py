"""The cellar file: no update is lost, times carry their zone, migrations are careful."""

from __future__ import annotations

import sqlite3
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import insert, select
from sqlalchemy.exc import StatementError

from mustwright.errors import ConflictError
from mustwright.store import tables
from mustwright.store.cellar_store import CellarStore
from mustwright.store.engine import BUSY_MS, StoreError
from mustwright.store.migrating import HEAD, alembic_config
from mustwright.store.opening import open_engine

MOMENT = datetime(2031, 5, 1, 12, 30, tzinfo=UTC)


def clock() -> datetime:
    return MOMENT


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "home" / "cellar.db"


def test_head_is_the_newest_revision():
    assert ScriptDirectory.from_config(alembic_config()).get_heads() == [HEAD]


def test_migrations_make_exactly_the_tables(path):
    engine = open_engine(path, clock)
    with engine.begin() as connection:
        differences = compare_metadata(MigrationContext.configure(connection), tables.metadata)
    engine.dispose()
    assert differences == []


def test_connections_wait_and_keep_references(path):
    engine = open_engine(path, clock)
    with engine.begin() as connection:
        asked = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "busy_timeout", "foreign_keys")
        }
    engine.dispose()
    assert asked == {"journal_mode": "wal", "busy_timeout": 5000, "foreign_keys": 1}


def test_of_many_changes_at_once_none_is_lost(path):
    """Each worker adds one to a number by read and write; refused ones try again."""
    store = CellarStore(path, clock)
    store.save("nutrient", "count", "0", None)

    def add_one(_: int) -> int:
        own = CellarStore(path, clock)
        tries = 0
        while True:
            tries += 1
            read = own.record("nutrient", "count")
            try:
                own.save("nutrient", "count", str(int(read.text) + 1), read.version)
            except ConflictError:
                continue
            own.close()
            return tries

    with ThreadPoolExecutor(8) as pool:
        tries = sum(pool.map(add_one, range(48)))
    final = store.record("nutrient", "count")
    store.close()
    assert (final.text, final.version) == ("48", 49)
    assert tries >= 48


def test_a_new_cellar_opened_by_many_at_once_is_made_once(path):
    def opened(_: int) -> int:
        store = CellarStore(path, clock)
        store.set_flag("here")
        store.close()
        return 1

    with ThreadPoolExecutor(8) as pool:
        assert sum(pool.map(opened, range(8))) == 8
    assert [p.name for p in path.parent.iterdir() if "before" in p.name] == []


def test_opening_a_cellar_waits_for_no_writer(path):
    CellarStore(path, clock).close()
    writer = sqlite3.connect(path, isolation_level=None)
    writer.execute("BEGIN IMMEDIATE")
    began = time.monotonic()
    CellarStore(path, clock).close()
    assert time.monotonic() - began < BUSY_MS / 1000
    writer.execute("ROLLBACK")
    writer.close()


def test_a_naive_time_is_refused_and_others_come_back_as_utc(path):
    engine = open_engine(path, clock)
    east = timezone(timedelta(hours=3))
    with engine.begin() as connection:
        row = {"name": "a", "set_at": MOMENT.astimezone(east)}
        connection.execute(insert(tables.flag).values(row))
        back = connection.execute(select(tables.flag.c.set_at)).scalar_one()
    assert (back, back.utcoffset()) == (MOMENT, timedelta(0))
    with engine.begin() as connection, pytest.raises(StatementError, match="without a zone"):
        connection.execute(insert(tables.flag).values(name="b", set_at=datetime(2031, 5, 1)))
    engine.dispose()


def test_an_older_file_is_copied_before_it_is_migrated(path):
    path.parent.mkdir()
    old = sqlite3.connect(path)
    old.execute("CREATE TABLE older (note TEXT)")
    old.execute("INSERT INTO older VALUES ('kept')")
    old.commit()
    old.close()
    CellarStore(path, clock).close()
    (copy,) = [p for p in path.parent.iterdir() if "before" in p.name]
    assert copy.name == "cellar.db.before-0004-from-none-20310501T123000Z"
    kept = sqlite3.connect(copy)
    assert kept.execute("SELECT note FROM older").fetchall() == [("kept",)]
    kept.close()


def test_opening_again_neither_migrates_nor_copies(path):
    for _ in range(2):
        CellarStore(path, clock).close()
    assert [p.name for p in path.parent.iterdir()] == ["cellar.db"]


def test_a_file_of_a_newer_version_is_left_alone(path):
    CellarStore(path, clock).close()
    newer = sqlite3.connect(path)
    newer.execute("UPDATE alembic_version SET version_num = '9999'")
    newer.commit()
    newer.close()
    with pytest.raises(StoreError, match="newer version"):
        CellarStore(path, clock)
    assert [p.name for p in path.parent.iterdir() if "before" in p.name] == []


@pytest.mark.filterwarnings("ignore::ResourceWarning")  # the driver, on a connection it refused
def test_what_is_no_cellar_is_said_in_one_line(path):
    path.parent.mkdir()
    path.write_text("this is a letter, not a cellar, and it is long enough to be one\n" * 40)
    with pytest.raises(StoreError, match="cannot be opened: file is not a database"):
        CellarStore(path, clock)


def test_a_folder_that_cannot_be_made_is_said_in_one_line(tmp_path):
    (tmp_path / "home").write_text("a file in the way")
    with pytest.raises(StoreError, match="cannot be opened"):
        CellarStore(tmp_path / "home" / "cellar.db", clock)
