"""What came last, told from a few lines, is what the whole log says."""

from __future__ import annotations

import random
from datetime import UTC, timedelta

import pytest

from batches import PITCHED, plan
from databases import store_of
from mustwright.batch.entries import Event, Note, Reading
from mustwright.batch.log import standing, to_undo
from mustwright.errors import InputError
from mustwright.services.batch import record
from mustwright.services.batch.batch_view import look
from mustwright.services.batch.newest import newest

MOST = 4


@pytest.fixture
def store(tmp_path):
    with store_of("sqlite", tmp_path, lambda: PITCHED + timedelta(hours=400)) as opened:
        yield opened


def written(chance: random.Random):
    return chance.choice(
        [
            Reading(gravity=round(chance.uniform(1.0, 1.1), 4)),
            Reading(temperature_c=20.0),
            Event("stirred"),
            Note("words"),
        ]
    )


def one_more(ledger, slug: str, chance: random.Random, hour: int) -> None:
    at, now = PITCHED + timedelta(hours=hour), PITCHED + timedelta(hours=300)
    stands = [s for s in standing(ledger.log(slug)) if s.what.kind != "plan"]
    do = chance.choice(["write"] * 4 + ["correct", "remove", "restore", "undo", "undo"])
    try:
        if do == "write" or not stands:
            record.write(ledger, slug, written(chance), at=at)
        elif do == "undo":
            record.undo(ledger, slug, seen=ledger.batch(slug).version, now=now)
        else:
            stand = chance.choice(stands)
            seen = ledger.batch(slug).version
            if do == "correct":
                moved = PITCHED + timedelta(hours=chance.randrange(200))
                record.correct(
                    ledger, slug, stand.entry.id, stand.what, at=moved, seen=seen, now=now
                )
            else:
                change = record.remove if do == "remove" else record.restore
                change(ledger, slug, stand.entry.id, seen=seen, now=now)
    except InputError:
        pass  # removing what is removed, restoring what is there


@pytest.mark.parametrize("seed", range(6))
def test_it_says_what_the_whole_log_says(store, seed):
    ledger, chance = store.ledger, random.Random(seed)
    slug = record.start_batch(
        ledger, plan(), "Heather", now=PITCHED, pitched_at=PITCHED, sheet=""
    ).slug
    for hour in range(1, 40):
        one_more(ledger, slug, chance, chance.choice([hour, 200]))
        view = look(ledger, slug, PITCHED + timedelta(hours=300), UTC)
        log = ledger.log(slug)
        whole = standing(log)
        found = newest(ledger, view, MOST)
        assert found.stands == whole[-MOST:][::-1]
        assert view.entries == len(whole)
        line = to_undo(log)
        assert (found.undo[0] if found.undo else None) == line
        if line is not None:
            target = getattr(line.what, "target", line.id)
            assert found.undo[1] == next(s for s in whole if s.entry.id == target)
        read = [s.what for s in whole if isinstance(s.what, Reading) and not s.removed]
        assert found.reading == next((r for r in reversed(read) if r.has_gravity), None)


def test_lines_written_after_the_look_are_left_out(store):
    ledger = store.ledger
    slug = record.start_batch(
        ledger, plan(), "Heather", now=PITCHED, pitched_at=PITCHED, sheet=""
    ).slug
    view = look(ledger, slug, PITCHED + timedelta(hours=1), UTC)
    late = record.write(ledger, slug, Note("late"), at=PITCHED + timedelta(hours=1))
    found = newest(ledger, view, MOST)
    assert late.id not in {s.entry.id for s in found.stands}
    assert found.undo[0].seq < late.seq


def test_a_log_in_order_is_read_by_its_end_alone_and_one_that_is_not_is_searched(
    store, monkeypatch
):
    from mustwright.store import batch_store

    searched = []
    search = batch_store.newest_of

    def noted(*args, **more):
        searched.append(1)
        return search(*args, **more)

    monkeypatch.setattr(batch_store, "newest_of", noted)
    ledger = store.ledger
    slug = record.start_batch(
        ledger, plan(), "Heather", now=PITCHED, pitched_at=PITCHED, sheet=""
    ).slug

    def whole_and_told():
        view = look(ledger, slug, PITCHED + timedelta(hours=300), UTC)
        log = ledger.log(slug)
        told = newest(ledger, view, MOST)
        assert told.undo[0] == to_undo(log)
        return standing(log)[-MOST:][::-1], told.stands

    for hour in range(1, 30):
        record.write(ledger, slug, Reading(gravity=1.09), at=PITCHED + timedelta(hours=hour))
        whole, told = whole_and_told()
        assert told == whole
    assert not searched
    backfilled = record.write(ledger, slug, Note("as I recall"), at=PITCHED + timedelta(hours=3))
    record.write(ledger, slug, Reading(gravity=1.05), at=PITCHED + timedelta(hours=40))
    whole, told = whole_and_told()
    assert told == whole
    assert backfilled.id not in {s.entry.id for s in told}
    assert searched
