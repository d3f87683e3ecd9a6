"""Restoring loses no acknowledged line, brings nobody in, and takes nothing it cannot read."""

from __future__ import annotations

import json
import os
import sqlite3
import stat
import threading
import time
from contextlib import suppress
from datetime import UTC, datetime, timedelta

import pytest

from batches import PITCHED, plan
from databases import KINDS, place_of
from mustwright.batch.entries import Entry, Note, PlanAdopted
from mustwright.compose import Compose
from mustwright.errors import MustwrightError
from mustwright.services.batch.batch_view import look
from mustwright.services.batch.tokens import DEVICE, new_token, token_of
from mustwright.services.repository import CellarAwayError, ForeignFileError
from mustwright.store.backup import read_only
from mustwright.store.cellar_store import CellarStore
from mustwright.store.engine import StoreError
from mustwright.store.restoring import restore
from mustwright.store.sealing import key_of, seal

KEY = b"k" * 32
MOMENT = datetime(2031, 6, 1, tzinfo=UTC)


def clock():
    return MOMENT


@pytest.fixture(params=KINDS)
def place(request, tmp_path):
    with place_of(request.param, tmp_path) as found:
        yield found


def started(place, folder, name="Heather"):
    store = CellarStore(place, clock, folder)
    store.ledger.start(name, "", [Entry("p", PITCHED, "me", PlanAdopted(plan()))])
    return store


def note(store, id, words="x"):
    store.ledger.append("heather", [Entry(id, PITCHED, "me", Note(words))])


def lines_in(path):
    copy = read_only(path)
    try:
        return {row[0] for row in copy.execute("SELECT id FROM entry")}
    finally:
        copy.close()


# Nothing lost -------------------------------------------------------------------------------------


def restored_when_free(place, tmp_path):
    """Where the replaced cellar was put; a busy cellar is asked again, as it says."""
    for _ in range(50):
        with suppress(CellarAwayError):
            return restore(place, tmp_path / "copy.db", clock, tmp_path, KEY).aside
    raise AssertionError("the cellar was busy fifty times")


def test_every_line_acknowledged_beside_a_restore_is_in_the_new_or_the_kept_file(place, tmp_path):
    """Each writer stops at the first refusal that is no request to come again."""
    store = started(place, tmp_path)
    store.back_up(tmp_path / "copy.db", KEY)
    stop, said = threading.Event(), []

    def write(name):
        own, number = CellarStore(place, clock, tmp_path), 0
        while not stop.is_set():
            try:
                note(own, f"{name}-{number}")
            except CellarAwayError:
                continue
            said.append(f"{name}-{number}")
            number += 1
        own.close()

    workers = [threading.Thread(target=write, args=(name,)) for name in "abc"]
    for worker in workers:
        worker.start()
    kept = []
    try:
        for _ in range(3):
            before = len(said)
            until = time.monotonic() + 20
            while len(said) < before + 20 and time.monotonic() < until:
                time.sleep(0.005)
            kept.append(restored_when_free(place, tmp_path))
    finally:
        stop.set()
        for worker in workers:
            worker.join()
    found = {e.id for e in store.ledger.log("heather")}
    store.close()
    for path in kept:
        found |= lines_in(path)
    assert len(said) > 60
    assert [i for i in said if i not in found] == []


def test_a_restore_that_fails_in_the_swap_changes_nothing(place, tmp_path, monkeypatch):
    from mustwright.store import restoring

    store = started(place, tmp_path)
    store.back_up(tmp_path / "copy.db", KEY)
    note(store, "later")

    def broken(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(restoring, "_alone", broken)
    with pytest.raises(StoreError, match="No space left"):
        restore(place, tmp_path / "copy.db", clock, tmp_path, KEY)
    assert [e.id for e in store.ledger.log("heather")] == ["p", "later"]
    store.close()
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []


def test_a_running_server_shows_nothing_of_the_cellar_that_was_replaced(place, tmp_path):
    """Same batch, same version, other content: what was kept in memory must not be found."""
    other = tmp_path / "other"
    other.mkdir()
    elsewhere = started(other / "cellar.db", other)
    note(elsewhere, "n", "the restored one")
    elsewhere.back_up(tmp_path / "copy.db", KEY)
    elsewhere.close()
    running = started(place, tmp_path)
    note(running, "n", "the replaced one")
    moment = PITCHED + timedelta(hours=5)
    shown = look(running.ledger, "heather", moment, UTC)
    assert shown.stands[-1].what.text == "the replaced one"
    replaced = running.ledger.batch("heather")
    restore(place, tmp_path / "copy.db", clock, tmp_path, KEY)
    shown = look(running.ledger, "heather", moment, UTC)
    assert shown.stands[-1].what.text == "the restored one"
    assert running.ledger.batch("heather").cellar != replaced.cellar
    # A forecast still being worked out for the replaced one is not kept beside the new log.
    running.ledger.keep_outlook("heather", 2, "of the old", replaced.cellar)
    running.ledger.keep_gist("heather", 2, b"of the old", replaced.cellar)
    running.ledger.keep_digest("heather", 2, "of the old", replaced.cellar)
    assert running.ledger.outlook("heather") is None
    beside = running.ledger.gist("heather")
    assert beside is None or beside[0] != b"of the old"
    assert running.ledger.batch("heather").digest != "of the old"
    running.close()


# Nobody in ----------------------------------------------------------------------------------------


def test_neither_passphrase_nor_sessions_nor_tokens_travel(place, tmp_path):
    store = started(place, tmp_path)
    ledger = store.ledger
    ledger.keep_setting("passphrase", "an old hash of it")
    ledger.add_session("old-session", datetime(2099, 1, 1, tzinfo=UTC))
    _, secret = new_token(ledger, "heather", DEVICE, "float")
    store.back_up(tmp_path / "copy.db", KEY)
    content = (tmp_path / "copy.db").read_bytes()
    assert b"an old hash" not in content
    assert b"old-session" not in content
    ledger.keep_setting("passphrase", "the present hash")
    restore(place, tmp_path / "copy.db", clock, tmp_path, KEY)
    assert ledger.setting("passphrase") == "the present hash"
    assert ledger.session_ends("old-session") is None
    assert token_of(ledger, secret, DEVICE, "heather") is None
    assert ledger.tokens("heather") == []
    store.close()


def test_keys_of_a_backup_made_before_they_were_left_out_end_too(place, tmp_path):
    store = started(place, tmp_path)
    store.back_up(tmp_path / "copy.db")
    store.close()
    spoiled(tmp_path / "copy.db", (
        "INSERT INTO session VALUES ('s', '2031-01-01 00:00:00', '2099-01-01 00:00:00')",
        "INSERT INTO setting VALUES ('passphrase', 'theirs', '2031-01-01 00:00:00')",
        "INSERT INTO token VALUES ('t', 'heather', 'device', 'x', 'h', '2031-01-01 00:00', NULL)",
    ))  # fmt: skip
    restore(place, tmp_path / "copy.db", clock, tmp_path, foreign=True)
    store = CellarStore(place, clock, tmp_path)
    assert store.ledger.session_ends("s") is None
    assert store.ledger.setting("passphrase") is None
    assert store.ledger.token_of("h") is None
    store.close()


def spoiled(path, statements):
    """Change a copy and seal it again, as anyone can who has no key."""
    copy = sqlite3.connect(path)
    copy.execute("PRAGMA ignore_check_constraints=ON")
    for statement in statements:
        copy.execute(statement)
    copy.execute("DROP TABLE IF EXISTS seal")
    copy.commit()
    copy.close()
    seal(path, None)


PAGE = "INSERT INTO notebook VALUES ('{kind}', 'x', '{content}', 1, '2031-01-01 00:00:00')"
TRIGGER = "CREATE TRIGGER gone AFTER INSERT ON entry BEGIN DELETE FROM entry; END"
SPOILED = {
    "a trigger": (TRIGGER, "unknown trigger 'gone'"),
    "a view": ("CREATE VIEW v AS SELECT 1", "unknown view 'v'"),
    "a table": ("CREATE TABLE more (x)", "unknown table 'more'"),
    "an index": ("CREATE INDEX more ON entry (who)", "unknown index 'more'"),
    "a key that hangs": ('CREATE TABLE more ("a b" TEXT PRIMARY KEY)', "unknown table 'more'"),
    "a column missing": ("ALTER TABLE batch DROP COLUMN digest_at", "made otherwise"),
    "a column more": ("ALTER TABLE batch ADD COLUMN more TEXT", "made otherwise"),
    "no version": ("DELETE FROM alembic_version", "no version"),
    "bad JSON": ("UPDATE entry SET content = '{\"plan\": '", "heather"),
    "JSON of another kind": ("UPDATE entry SET kind = 'reading'", "heather"),
    "JSON that lacks a field": ("UPDATE entry SET content = '{}'", "heather"),
    "a bad date": ("UPDATE entry SET at = 'yesterday'", "entry"),
    "a bad date of a batch": ("UPDATE batch SET updated_at = 'x'", "batch"),
    "a number for a name": ("UPDATE batch SET name = x'00ff'", "batch"),
    "a word for a number": ("UPDATE batch SET version = 'many'", "batch"),
    "a version too low": ("UPDATE batch SET version = 0", "version from 1"),
    "a null character": ("UPDATE batch SET name = 'a' || char(0) || 'b'", "plain text"),
    "a slug of the file system": ("UPDATE batch SET key = '../x'", "damaged"),
    "no lines": ("DELETE FROM entry", "begin with a plan"),
    "a tasting that cannot be read": (PAGE.format(kind="tasting", content="{"), "notebook"),
    "a trial that lacks a field": (PAGE.format(kind="trial", content="{}"), "notebook"),
    "a page of an unknown kind": (PAGE.format(kind="else", content="{}"), "notebook"),
    "a line without an id": ("UPDATE entry SET id = ''", "heather"),
}


@pytest.mark.parametrize("what", sorted(SPOILED))
def test_a_copy_with_anything_else_in_it_is_refused_in_one_sentence(what, tmp_path):
    statement, words = SPOILED[what]
    path = tmp_path / "cellar.db"
    store = started(path, tmp_path)
    store.back_up(tmp_path / "copy.db", KEY)
    note(store, "later")
    spoiled(tmp_path / "copy.db", (statement,))
    began = time.monotonic()
    with pytest.raises(StoreError) as refused:
        restore(path, tmp_path / "copy.db", clock, tmp_path, KEY, foreign=True)
    assert time.monotonic() - began < 10
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)
    assert [e.id for e in store.ledger.log("heather")] == ["p", "later"]
    store.close()


def test_a_file_that_this_cellar_did_not_make_is_asked_about(place, tmp_path):
    store = started(place, tmp_path)
    store.back_up(tmp_path / "theirs.db", b"t" * 32)
    store.back_up(tmp_path / "unsigned.db")
    store.back_up(tmp_path / "changed.db", KEY)
    spoiled(tmp_path / "changed.db", ("UPDATE batch SET name = 'Changed'",))
    for name in ("theirs", "unsigned", "changed"):
        with pytest.raises(ForeignFileError, match="not made by this cellar"):
            restore(place, tmp_path / f"{name}.db", clock, tmp_path, KEY)
        done = restore(place, tmp_path / f"{name}.db", clock, tmp_path, KEY, foreign=True)
        assert (done.sealed, done.own) == (True, False)
    store.close()


def test_the_key_is_made_once_and_is_the_owners_alone(tmp_path):
    old = os.umask(0)
    try:
        home = tmp_path / "home"
        made: list[bytes] = []
        workers = [threading.Thread(target=lambda: made.append(key_of(home))) for _ in range(8)]
        for worker in workers:
            worker.start()
        for worker in workers:
            worker.join()
    finally:
        os.umask(old)
    assert len(set(made)) == 1
    assert len(made[0]) == 32
    assert stat.S_IMODE((home / "seal.key").stat().st_mode) == 0o600
    assert [p.name for p in home.iterdir()] == ["seal.key"]


# Who may read it ----------------------------------------------------------------------------------


@pytest.mark.parametrize("umask", [0o000, 0o022, 0o077])
def test_whatever_the_umask_everything_is_the_owners_alone(umask, tmp_path):
    old = os.umask(umask)
    try:
        compose = Compose(tmp_path / "home", clock)
        compose.ledger.start("Heather", "", [Entry("p", PITCHED, "me", PlanAdopted(plan()))])
        compose.back_up(tmp_path / "copy.db")
        compose.close()
        compose.restore(tmp_path / "copy.db")
        compose.ledger.batches()
    finally:
        os.umask(old)
    found = {p.name: stat.S_IMODE(p.stat().st_mode) for p in (tmp_path / "home").rglob("*")}
    assert stat.S_IMODE((tmp_path / "home").stat().st_mode) == 0o700
    assert len(found) >= 3
    assert {n: oct(m) for n, m in found.items() if m & 0o077} == {}
    assert stat.S_IMODE((tmp_path / "copy.db").stat().st_mode) == 0o600
    compose.close()


def test_what_was_open_to_others_is_put_right_and_said(tmp_path):
    home = tmp_path / "home"
    home.mkdir()
    CellarStore(home / "cellar.db", clock).close()
    home.chmod(0o755)
    (home / "cellar.db").chmod(0o644)
    said: list[str] = []
    compose = Compose(home, clock, say=said.append)
    compose.ledger.batches()
    compose.close()
    assert stat.S_IMODE(home.stat().st_mode) == 0o700
    assert stat.S_IMODE((home / "cellar.db").stat().st_mode) == 0o600
    assert len(said) == 2
    assert all("yours alone" in words for words in said)


def test_no_value_of_a_statement_reaches_a_traceback(place, tmp_path):
    """A secret, a hash or the maker's words in a log are as good as published."""
    store = started(place, tmp_path)
    store.ledger.add_token("t", "heather", "device", "x", "hash-of-a-secret")
    with pytest.raises(Exception) as failed:  # noqa: PT011  (whatever it is, it must not tell)
        store.ledger.add_token("t", "heather", "device", "x", "hash-of-a-secret")
    assert not isinstance(failed.value, MustwrightError)
    assert "hash-of-a-secret" not in f"{failed.value}".split("DETAIL")[0]
    store.close()


def test_rows_are_counted_by_table(tmp_path):
    store = started(tmp_path / "cellar.db", tmp_path)
    store.back_up(tmp_path / "copy.db", KEY)
    store.close()
    done = restore(tmp_path / "cellar.db", tmp_path / "copy.db", clock, tmp_path, KEY)
    assert json.loads(json.dumps(done.rows))["entry"] == 1
    assert "alembic_version" not in done.rows
