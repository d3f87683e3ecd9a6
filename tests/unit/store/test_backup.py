"""Backup and restore: whole, sealed, careful with what is there; migrations of every release."""

from __future__ import annotations

import sqlite3
import threading
from datetime import UTC, datetime

import pytest
from sqlalchemy import insert

from batches import PITCHED, plan
from databases import KINDS, place_of
from mustwright.batch.entries import Entry, Note, PlanAdopted
from mustwright.services.batch.repository import PhotoRecord
from mustwright.store import tables
from mustwright.store.cellar_store import CellarStore
from mustwright.store.engine import StoreError, engine_of
from mustwright.store.migrating import migrate, revision
from mustwright.store.restoring import check, restore

MOMENT = datetime(2031, 6, 1, tzinfo=UTC)


def clock():
    return MOMENT


@pytest.fixture(params=KINDS)
def place(request, tmp_path):
    with place_of(request.param, tmp_path) as found:
        yield found


def filled(place, folder):
    store = CellarStore(place, clock, folder)
    store.save("sheet", "heather", "a = 1", None, "Heather ü")
    entries = [Entry("p", PITCHED, "me", PlanAdopted(plan())), Entry("n", PITCHED, "me", Note("ß"))]
    store.ledger.start("Heather", "heather", entries)
    store.ledger.add_photo(
        PhotoRecord("f", "heather", "image/jpeg", 1, 1, 3, "s", PITCHED, b"\x00\xff\x01")
    )
    store.ledger.keep_setting("a", "1")
    return store


def all_of(store):
    ledger = store.ledger
    return (
        store.records("sheet"),
        ledger.batches(),
        ledger.log("heather"),
        ledger.photo("heather", "f"),
    )


def test_a_backup_brings_everything_back_and_keeps_what_was_there(place, tmp_path):
    store = filled(place, tmp_path)
    before = all_of(store)
    rows = store.back_up(tmp_path / "copy.db")
    assert (rows["batch"], rows["entry"], rows["photo"], rows["sheet"]) == (1, 2, 1, 1)
    store.ledger.append("heather", [Entry("later", PITCHED, "me", Note("later"))])
    store.close()
    done = restore(place, tmp_path / "copy.db", clock, tmp_path)
    assert done.sealed
    back = CellarStore(place, clock, tmp_path)
    assert all_of(back) == before
    back.close()
    assert done.aside is not None
    restore(place, done.aside, clock, tmp_path)
    again = CellarStore(place, clock, tmp_path)
    assert [e.id for e in again.ledger.log("heather")] == ["p", "n", "later"]
    again.close()


@pytest.mark.parametrize("target", KINDS)
def test_a_cellar_moves_from_one_kind_of_database_to_the_other(place, target, tmp_path):
    store = filled(place, tmp_path)
    before = all_of(store)
    store.back_up(tmp_path / "copy.db")
    store.close()
    (tmp_path / "other").mkdir()
    with place_of(target, tmp_path / "other") as other:
        restore(other, tmp_path / "copy.db", clock, tmp_path)
        moved = CellarStore(other, clock, tmp_path)
        assert all_of(moved) == before
        moved.ledger.append("heather", [Entry("more", PITCHED, "me", Note("more"))])
        moved.close()


def test_a_backup_while_others_write_is_consistent(place, tmp_path):
    store = filled(place, tmp_path)
    stop = threading.Event()
    written = []

    def write():
        while not stop.is_set():
            pair = [Entry(f"{len(written)}-{k}", PITCHED, "me", Note("x")) for k in "ab"]
            store.ledger.append("heather", pair)
            written.append(1)

    worker = threading.Thread(target=write)
    worker.start()
    try:
        for number in range(5):
            store.back_up(tmp_path / f"copy{number}.db")
    finally:
        stop.set()
        worker.join()
    store.close()
    for number in range(5):
        assert check(tmp_path / f"copy{number}.db")
        copy = sqlite3.connect(tmp_path / f"copy{number}.db")
        ((lines, version),) = copy.execute(
            "SELECT (SELECT count(*) FROM entry), version FROM batch"
        ).fetchall()
        copy.close()
        assert lines == version
        assert lines % 2 == 0, "half of a pair was copied"
    assert len(written) > 5


def test_a_server_that_is_running_sees_what_was_restored(tmp_path):
    path = tmp_path / "cellar.db"
    running = filled(path, tmp_path)
    running.back_up(tmp_path / "copy.db")
    running.ledger.append("heather", [Entry("later", PITCHED, "me", Note("later"))])
    restore(path, tmp_path / "copy.db", clock, tmp_path)
    assert [e.id for e in running.ledger.log("heather")] == ["p", "n"]
    running.ledger.append("heather", [Entry("new", PITCHED, "me", Note("new"))])
    running.close()
    assert sqlite3.connect(path).execute("PRAGMA integrity_check").fetchone() == ("ok",)


def damaged(tmp_path):
    """Ways to spoil a backup: each must be noticed."""
    whole = (tmp_path / "copy.db").read_bytes()
    at = whole.index("Heather ü".encode())
    yield "a letter changed", whole[:at] + b"h" + whole[at + 1 :]
    yield "cut short", whole[: len(whole) // 2]
    yield "a page of zeroes", whole[:8192] + bytes(4096) + whole[12288:]
    yield "no database", b"a letter to a friend " * 400
    yield "empty", b""


def test_a_damaged_backup_is_refused_and_nothing_changes(tmp_path):
    path = tmp_path / "cellar.db"
    store = filled(path, tmp_path)
    store.back_up(tmp_path / "copy.db")
    before = all_of(store)
    for what, content in damaged(tmp_path):
        bad = tmp_path / "bad.db"
        bad.write_bytes(content)
        with pytest.raises(StoreError):
            restore(path, bad, clock, tmp_path)
        assert all_of(store) == before, what
    store.close()


def test_a_backup_never_writes_over_a_file(tmp_path):
    store = filled(tmp_path / "cellar.db", tmp_path)
    (tmp_path / "copy.db").write_text("mine")
    with pytest.raises(StoreError, match="there already"):
        store.back_up(tmp_path / "copy.db")
    assert (tmp_path / "copy.db").read_text() == "mine"
    store.close()


def test_a_cellar_of_the_first_release_is_copied_and_brought_up(place, tmp_path):
    migrate(place, "0001")
    engine = engine_of(place)
    with engine.begin() as connection:
        row = {"key": "old", "name": "Old", "text": "a = 1", "version": 3, "updated_at": MOMENT}
        connection.execute(insert(tables.sheet).values(**row))
    engine.dispose()
    store = CellarStore(place, clock, tmp_path / "backups")
    assert [(s.key, s.version) for s in store.records("sheet")] == [("old", 3)]
    store.ledger.start("New", "old", [Entry("p", PITCHED, "me", PlanAdopted(plan()))])
    store.close()
    (copy,) = [p for p in tmp_path.rglob("*before-0004*") if not p.name.endswith(("-wal", "-shm"))]
    kept = engine_of(copy)
    with kept.begin() as connection:
        assert revision(connection) == "0001"
        assert connection.exec_driver_sql("SELECT key FROM sheet").scalars().all() == ["old"]
    kept.dispose()


def test_a_backup_of_the_first_release_can_be_restored(tmp_path):
    old = tmp_path / "old.db"
    migrate(old, "0001")
    done = restore(tmp_path / "cellar.db", old, clock, tmp_path)
    assert (done.sealed, done.aside) == (False, None)
    store = CellarStore(tmp_path / "cellar.db", clock)
    assert store.ledger.batches() == []
    store.close()
