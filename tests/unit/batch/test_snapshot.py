"""The gist of a log says the same as the log, kept or brought forward."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches import PITCHED, Log, plan
from mustwright.batch.entries import (
    Correction,
    Entry,
    Event,
    FeedGiven,
    Given,
    Note,
    Reading,
    Removal,
    what_data,
)
from mustwright.batch.progress import progress, progress_of
from mustwright.batch.snapshot import FORM, Gist, brought_forward, gist_bytes, gist_from, gist_of

PLAIN = st.one_of(
    st.builds(
        lambda g, t: Reading(gravity=round(g, 4), temperature_c=t),
        st.floats(1.0, 1.13),
        st.one_of(st.none(), st.floats(5, 30)),
    ),
    st.builds(lambda b: Reading(brix=b, instrument="refractometer"), st.floats(5, 28)),
    st.builds(lambda p: Reading(ph=p), st.floats(2.8, 4.2)),
    st.builds(lambda t: Reading(temperature_c=t), st.floats(5, 30)),
    st.just(Note("words")),
)
OTHER = st.one_of(
    st.sampled_from([Event("stirred"), Event("moved", temperature_c=12.0), Event("racked")]),
    st.builds(lambda g: FeedGiven((Given("dap", g),)), st.floats(0.1, 9)),
)
LINES = st.lists(st.tuples(st.floats(-30, 300), st.one_of(PLAIN, OTHER)), max_size=12)


def same(one: Gist, other: Gist) -> None:
    for field in fields(Gist):
        if field.name != "series":
            assert getattr(one, field.name) == getattr(other, field.name), field.name
    assert one.series.ids == other.series.ids
    np.testing.assert_array_equal(one.series.at_us, other.series.at_us)
    np.testing.assert_allclose(
        one.series.values.ravel(), other.series.values.ravel(), rtol=0, atol=1e-12
    )


def written(lines) -> Log:
    log = Log(plan())
    for hours, what in lines:
        log.add(hours, what)
    return log


def no_plain(log: Log) -> list[Entry]:
    return [e for e in log.entries if not isinstance(e.what, Reading | Note)]


@given(LINES)
def test_a_kept_gist_comes_back_as_it_was(lines):
    log = written(lines)
    gist = gist_of(log.stands(), len(log.entries))
    back = gist_from(gist_bytes(gist), no_plain(log))
    assert back is not None
    same(back, gist)
    now = log.at(400)
    assert progress_of(back, now.now) == progress_of(gist, now.now) == now


@given(LINES, st.lists(st.tuples(st.floats(0, 400), PLAIN), min_size=1, max_size=6))
def test_brought_forward_it_is_what_the_whole_log_gives(first, later):
    log = written(first)
    gist = gist_of(log.stands(), len(log.entries))
    new = [log.add(hours, what) for hours, what in later]
    moved = brought_forward(gist, new, len(log.entries))
    is_later = min(e.at for e in new) >= gist.last_at
    assert (moved is not None) == is_later
    if moved is not None:
        same(moved, gist_of(log.stands(), len(log.entries)))


@pytest.mark.parametrize("kind", ["event", "feed", "correction", "removal", "honey"])
def test_what_is_more_than_a_reading_needs_the_whole_log(kind):
    log = written([(10, Reading(gravity=1.11))] + ([(11, Event("honey_in"))] * (kind == "honey")))
    gist = gist_of(log.stands(), len(log.entries))
    reading = next(e for e in log.entries if isinstance(e.what, Reading))
    what = {
        "event": Event("racked"),
        "feed": FeedGiven((Given("dap", 1.0),)),
        "correction": Correction(
            reading.id, reading.at, reading.at, what_data(reading.what), {"gravity": 1.1}
        ),
        "removal": Removal(reading.id),
        "honey": Reading(gravity=1.12),
    }[kind]
    new = log.add(20, what)
    assert brought_forward(gist, [new], len(log.entries)) is None


def test_removed_and_corrected_lines_count_as_they_stand():
    log = written([(10, Reading(gravity=1.11)), (11, Event("racked")), (12, Event("stirred"))])
    racked = log.entries[3]
    log.add(13, Removal(racked.id))
    gist = gist_of(log.stands(), len(log.entries))
    back = gist_from(gist_bytes(gist), no_plain(log))
    assert [s.what.what for s in back.events] == ["pitched", "stirred"]
    assert gist.changed == len(log.entries)
    later = log.add(14, Event("racked"))
    assert gist_from(gist_bytes(gist), no_plain(log)).events == gist.events, later


@pytest.mark.parametrize("spoiled", [b"", b"{}\n", b"[1]\n", b'{"form": 2}\n', b"\xff\xfe"])
def test_a_damaged_gist_is_made_anew(spoiled):
    log = written([(10, Reading(gravity=1.11))])
    assert gist_from(spoiled, no_plain(log)) is None
    whole = gist_bytes(gist_of(log.stands(), 3))
    assert gist_from(whole[:-5], no_plain(log)) is None
    this, before = (f'"form": {form}'.encode() for form in (FORM, FORM - 1))
    assert this in whole
    assert gist_from(whole.replace(this, before), no_plain(log)) is None
    assert gist_from(whole, []) is None, "without its plan it is none"


def test_a_moment_before_the_latest_line_is_told_from_the_log():
    log = written([(10, Reading(gravity=1.11)), (50, Reading(gravity=1.08))])
    assert progress(log.stands(), log.at(20).now).gravity == pytest.approx(1.11, abs=1e-4)
    assert log.at(20).now > PITCHED
