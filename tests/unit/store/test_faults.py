"""A disk that fails at any write: said in one sentence, nothing half-written, nothing lost."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from sqlalchemy import event

from batches import PITCHED, plan
from databases import KINDS, store_of
from faults import FAULTS, disk_of
from mustwright.batch.entries import Entry, Note, Photo, PlanAdopted
from mustwright.services.batch.repository import PhotoRecord, TakenIn
from mustwright.services.repository import CellarAwayError, UnwritableError
from mustwright.store.batch_store import BatchStore
from mustwright.store.cellar_store import CellarStore
from mustwright.store.failing import FAILING, FULL, READ_ONLY, meaning_of
from mustwright.store.notebook_store import NotebookStore

SAID = {"full": FULL, "read-only": READ_ONLY, "failing": FAILING}
MOMENT = datetime(2031, 6, 1, tzinfo=UTC)
FAR = datetime(2099, 1, 1, tzinfo=UTC)
PHOTO = PhotoRecord("f", "heather", "image/jpeg", 1, 1, 3, "s", PITCHED, b"\x00\xff\x01")


def line(id: str, what=None) -> Entry:
    return Entry(id, PITCHED, "me", what or Note("x"))


# One call of every method that writes.
WRITES: dict[str, Callable[[CellarStore], Any]] = {
    "save": lambda s: s.save("sheet", None, "a = 1", None, "Ling"),
    "save again": lambda s: s.save("protocol", "mine", "a = 2", 1),
    "delete": lambda s: s.delete("nutrient", "dap", 1),
    "restore": lambda s: s.restore("sheet", "gone"),
    "set_flag": lambda s: s.set_flag("new"),
    "answers": lambda s: s.answers(),
    "start": lambda s: s.ledger.start("Ling", "", [line("p2", PlanAdopted(plan()))], [PHOTO]),
    "rename": lambda s: s.ledger.rename("heather", "Ling", 2),
    "delete_batch": lambda s: s.ledger.delete_batch("spare", 2),
    "restore_batch": lambda s: s.ledger.restore_batch("gone"),
    "append": lambda s: s.ledger.append("heather", [line("a"), line("b")]),
    "take_in": lambda s: s.ledger.take_in(
        TakenIn(
            "in",
            "In",
            "",
            1,
            PITCHED,
            [replace(line("p-in", PlanAdopted(plan())), seq=1)],
            [replace(PHOTO, id="h", batch="in")],
        )
    ),
    "keep_digest": lambda s: s.ledger.keep_digest("gone", 4, "{}"),
    "keep_outlook": lambda s: s.ledger.keep_outlook("heather", 2, "{}"),
    "keep_gist": lambda s: s.ledger.keep_gist("heather", 2, b"gist"),
    "append_each": lambda s: s.ledger.append_each(
        {"heather": [line("c", Photo("g"))], "gone": [line("d")]}, photos=[replace(PHOTO, id="g")]
    ),
    "add_token": lambda s: s.ledger.add_token("u", "heather", "device", "x", "hash of u"),
    "revoke_token": lambda s: s.ledger.revoke_token("t"),
    "add_photo": lambda s: s.ledger.add_photo(PHOTO),
    "keep_setting": lambda s: s.ledger.keep_setting("a", "2"),
    "add_session": lambda s: s.ledger.add_session("new", FAR),
    "end_sessions": lambda s: s.ledger.end_sessions(),
    "add_page": lambda s: s.notebook.add_page("trial", "Ling", "{}"),
    "save_page": lambda s: s.notebook.save_page("trial", "heather", "[]", 1),
    "remove_page": lambda s: s.notebook.remove_page("trial", "heather", 2),
}
READS = {
    "records", "record", "has_flag", "close",
    "back_up", "batches", "batch", "holding", "one_moment", "stamp", "listen", "log",
    "pages", "page", "versions",
    "newest", "outlook", "gist", "tokens", "token_of", "photo", "photos", "setting", "session_ends",
}  # fmt: skip


@pytest.fixture(params=KINDS)
def store(request, tmp_path):
    with store_of(request.param, tmp_path, lambda: MOMENT) as found:
        for kind, kept in (("sheet", "heather"), ("protocol", "mine"), ("nutrient", "dap")):
            for key in (kept, "gone"):
                found.save(kind, key, "a = 1", None, key)
            found.delete(kind, "gone", 1)
        ledger = found.ledger
        for name in ("heather", "gone", "spare"):
            ledger.start(name, "", [line(f"p-{name}", PlanAdopted(plan())), line(f"n-{name}")])
        ledger.delete_batch("gone", 2)
        found.notebook.add_page("trial", "heather", "{}")
        ledger.add_token("t", "heather", "device", "x", "hash of t")
        ledger.keep_setting("a", "1")
        ledger.add_session("old", FAR)
        yield found


def everything(store: CellarStore) -> dict[str, list[Any]]:
    with store._engine.connect() as connection:
        from mustwright.store import tables

        return {
            t.name: sorted(map(repr, connection.execute(t.select()).all()))
            for t in tables.metadata.sorted_tables
        }


def public(cls: type) -> set[str]:
    return {n for n, _ in inspect.getmembers(cls, inspect.isfunction) if not n.startswith("_")}


def test_every_method_of_the_store_is_known_to_these_tests():
    known = (set(WRITES) | READS) - {"save again"}
    assert public(CellarStore) | public(BatchStore) | public(NotebookStore) == known
    assert set(WRITES) & READS == set()


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_at_every_write_is_said_and_changes_nothing(store, fault):
    """Each method is stopped at its first write, its second, ..., and at the commit."""
    before, stopped = everything(store), 0
    for name, call in WRITES.items():
        with disk_of(store._engine, fault) as disk:
            k = 0
            while (said := _stopped(store, call, disk, k := k + 1)) is not None:
                assert said == SAID[fault], name
                assert everything(store) == before, f"{name} at write {k}"
                stopped += 1
        assert k > (1 if name == "answers" else 2), f"{name} was never stopped"
        after = everything(store)
        assert (after == before) == (name == "answers"), name
        before = after
    assert stopped > 2 * len(WRITES)


def _stopped(store: CellarStore, call: Callable[[CellarStore], Any], disk, k: int) -> str | None:
    """What is said when the k-th write fails; None where there are not so many."""
    disk.count, disk.fails_at = 0, k
    try:
        call(store)
    except UnwritableError as error:
        return str(error)
    finally:
        disk.fails_at = 0
    return None


def test_a_disk_that_is_really_full_is_said(tmp_path):
    """SQLite's own limit of pages stands for the end of the disk."""
    with store_of("sqlite", tmp_path, lambda: MOMENT) as store:
        store.ledger.start("Heather", "", [line("p", PlanAdopted(plan()))])

        @event.listens_for(store._engine, "checkout")
        def _limit(connection, _record, _proxy) -> None:
            pages = connection.execute("PRAGMA page_count").fetchone()[0]
            connection.execute(f"PRAGMA max_page_count={pages + 2}")

        kept = ["p"]

        def fill() -> None:
            for i in range(200):
                store.ledger.append("heather", [line(f"n{i}", Note("x" * 4000))])
                kept.append(f"n{i}")

        with pytest.raises(UnwritableError, match="full"):
            fill()
        assert [e.id for e in store.ledger.log("heather")] == kept
        assert len(kept) > 1


def test_a_cellar_that_is_really_read_only_is_said(tmp_path):
    with store_of("sqlite", tmp_path, lambda: MOMENT) as store:
        store.ledger.start("Heather", "", [line("p", PlanAdopted(plan()))])

        @event.listens_for(store._engine, "checkout")
        def _closed(connection, _record, _proxy) -> None:
            connection.execute("PRAGMA query_only=ON")

        with pytest.raises(UnwritableError, match="read-only"):
            store.ledger.append("heather", [line("n")])
        assert [e.id for e in store.ledger.log("heather")] == ["p"]


def test_a_cellar_that_is_locked_is_busy_and_says_to_come_again(tmp_path, monkeypatch):
    import sqlite3

    monkeypatch.setattr("mustwright.store.engine.BUSY_MS", 50)
    with store_of("sqlite", tmp_path, lambda: MOMENT) as store:
        store.ledger.start("Heather", "", [line("p", PlanAdopted(plan()))])
        other = sqlite3.connect(tmp_path / "cellar.db", isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(CellarAwayError, match="busy") as told:
            store.ledger.append("heather", [line("n")])
        assert told.value.retry_s > 0
        other.execute("ROLLBACK")
        other.close()
        store.ledger.append("heather", [line("n")])


def test_a_server_that_went_away_says_to_come_again(tmp_path):
    with store_of("postgresql", tmp_path, lambda: MOMENT) as store:
        store.ledger.start("Heather", "", [line("p", PlanAdopted(plan()))])
        url = store._engine.url.set(port=1)
        away = CellarStore.__new__(CellarStore)
        from mustwright.store.engine import engine_of

        away._engine, away._clock = engine_of(url.render_as_string(hide_password=False)), None
        with pytest.raises(CellarAwayError, match="cannot be reached"):
            away.records("sheet")
        away._engine.dispose()


def test_an_error_of_our_own_making_is_not_taken_for_the_disks():
    import sqlite3

    assert meaning_of(sqlite3.IntegrityError("UNIQUE constraint failed")) is None
    assert meaning_of(ValueError("x")) is None
    assert meaning_of(None) is None
