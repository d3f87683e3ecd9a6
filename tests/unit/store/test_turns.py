"""Writers of one process wait for their turn; one that fails gives it up."""

from __future__ import annotations

import threading
from datetime import UTC, datetime

import pytest
from sqlalchemy import text

from mustwright.store.cellar_store import CellarStore
from mustwright.store.engine import reading, sqlite_engine

MOMENT = datetime(2031, 6, 1, tzinfo=UTC)


@pytest.fixture
def engine(tmp_path):
    made = sqlite_engine(tmp_path / "one.db")
    with made.begin() as connection:
        connection.execute(text("CREATE TABLE line (number INTEGER)"))
    yield made
    made.dispose()


def lines(engine) -> list[int]:
    with reading(engine) as connection:
        return list(connection.execute(text("SELECT number FROM line ORDER BY rowid")).scalars())


def write(engine, number: int) -> None:
    with engine.begin() as connection:
        connection.execute(text("INSERT INTO line VALUES (:n)"), {"n": number})


def test_a_second_writer_waits_and_a_reader_does_not(engine):
    second = threading.Thread(target=write, args=(engine, 2))
    with engine.begin() as connection:
        connection.execute(text("INSERT INTO line VALUES (1)"))
        second.start()
        second.join(0.05)
        assert second.is_alive()
        assert lines(engine) == []
    second.join()
    assert lines(engine) == [1, 2]


def test_a_writer_that_fails_gives_its_turn_up(engine):
    with pytest.raises(ZeroDivisionError), engine.begin():
        raise ZeroDivisionError
    write(engine, 3)
    assert lines(engine) == [3]


def test_many_writers_all_come_in(engine):
    writers = [threading.Thread(target=write, args=(engine, k)) for k in range(30)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert sorted(lines(engine)) == list(range(30))


def test_what_is_asked_within_one_moment_is_seen_as_of_it(engine):
    write(engine, 1)
    with reading(engine):
        assert lines(engine) == [1]
        other = threading.Thread(target=write, args=(engine, 2))
        other.start()
        other.join()
        assert lines(engine) == [1], "the moment stands still"
    assert lines(engine) == [1, 2]


def test_another_cellar_closed_within_a_reading_ends_nothing(tmp_path):
    mine = CellarStore(tmp_path / "mine.db", lambda: MOMENT)
    with mine.ledger.one_moment():
        other = CellarStore(tmp_path / "other.db", lambda: MOMENT)
        other.ledger.batches()
        other.close()
        assert mine.ledger.batches() == []
    mine.close()
