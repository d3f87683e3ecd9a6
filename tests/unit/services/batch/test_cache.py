"""What is worked out from all batches is worked out once, also where several ask at once."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime

import pytest

from batches import plan
from databases import store_of
from mustwright.batch.entries import Note
from mustwright.services.batch import record
from mustwright.services.batch.cache import every_batch, for_all

NOW = datetime(2031, 5, 1, 12, tzinfo=UTC)


@pytest.fixture
def ledger(tmp_path):
    with store_of("sqlite", tmp_path, lambda: NOW) as store:
        yield store.ledger


def test_those_who_ask_meanwhile_wait_for_the_one_that_works_it_out(ledger):
    begun, go_on, made = threading.Event(), threading.Event(), []

    def make():
        made.append(threading.get_ident())
        begun.set()
        assert go_on.wait(20)
        return object()

    with ThreadPoolExecutor(4) as threads:
        first = threads.submit(for_all, ledger, "thing", 1, make)
        assert begun.wait(20)
        others = [threads.submit(for_all, ledger, "thing", 1, make) for _ in range(3)]
        assert for_all(ledger, "another", 1, lambda: "not held up") == "not held up"
        go_on.set()
        assert {id(one.result(20)) for one in others} == {id(first.result(20))}
    assert len(made) == 1
    assert for_all(ledger, "thing", 2, lambda: "of another moment") == "of another moment"


def test_what_could_not_be_worked_out_is_tried_again(ledger):
    with pytest.raises(ZeroDivisionError):
        for_all(ledger, "thing", 1, lambda: 1 / 0)
    assert for_all(ledger, "thing", 1, lambda: 2) == 2


def test_one_thing_may_rest_on_another(ledger):
    both = for_all(ledger, "thing", 1, lambda: for_all(ledger, "other", 1, lambda: 1) + 1)
    assert both == 2


def test_every_batch_is_read_again_once_anybody_wrote(tmp_path):
    with (
        store_of("sqlite", tmp_path, lambda: NOW) as here,
        store_of("sqlite", tmp_path, lambda: NOW) as elsewhere,
    ):
        mine, theirs = here.ledger, elsewhere.ledger
        seen = []
        for ledger in (mine, theirs, mine):
            made = record.start_batch(ledger, plan(), "Heather", now=NOW, pitched_at=NOW)
            seen.append((mine.stamp(), theirs.stamp()))
            record.write(ledger, made.slug, Note("more"), at=NOW)
            seen.append((mine.stamp(), theirs.stamp()))
            for one in (mine, theirs):
                assert one.stamp() == seen[-1][0]
                assert made.slug in [b.slug for b in every_batch(one, one.stamp())]
        assert all(a == b for a, b in seen)
        assert len(set(seen)) == len(seen)
        with mine.one_moment():
            before = mine.stamp()
            record.write(theirs, made.slug, Note("meanwhile"), at=NOW)
            assert mine.stamp() == before, "one moment is one moment"
        assert mine.stamp() == theirs.stamp() != before
