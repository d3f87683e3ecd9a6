"""Readings are corrected for instrument, temperature and alcohol; the log folds its changes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batches import Log, plan
from mustwright.batch.codec import record_from
from mustwright.batch.corrected_readings import corrected, must_course
from mustwright.batch.entries import (
    Correction,
    Event,
    FeedGiven,
    Given,
    Reading,
    Removal,
    what_data,
    what_from,
)
from mustwright.batch.log import plan_in_force, to_undo, undoing
from mustwright.batch.plan import BatchPlan
from mustwright.batch.progress import slope_of
from mustwright.errors import InputError
from mustwright.must.alcohol import ferment
from mustwright.must.course import course_of
from mustwright.must.gravity import sugar_g_l_from_brix
from mustwright.must.instruments import gravity_from_hydrometer
from mustwright.must.refraction import fermented_from_refractometer
from mustwright.plain_data import data_of


def test_a_plan_comes_back_from_its_data_to_the_letter():
    assert record_from(BatchPlan, data_of(plan()), "plan") == plan()


@settings(deadline=None)
@given(st.floats(0, 1), st.floats(10, 36), st.floats(0.8, 1))
def test_the_course_follows_the_mass_balance(used, brix, share):
    """Straight lines between 41 steps, within 0.0001."""
    course = course_of(round(brix, 2), round(share, 3))
    extract = float(sugar_g_l_from_brix(round(brix, 2)))
    exact = ferment(extract, extract * round(share, 3), used * extract * round(share, 3))
    assert float(course.gravity_at(used)) == pytest.approx(exact.gravity, abs=1e-4)
    assert float(course.used_at_gravity(exact.gravity)) == pytest.approx(used, abs=0.003)


@settings(deadline=None)
@given(st.floats(0.99, 1.15), st.floats(1, 39), st.sampled_from([15.0, 15.56, 20.0]))
def test_hydrometer_corrections_follow_the_exact_ones(gravity, sample, calibration):
    reading = Reading(gravity=gravity, sample_c=sample, calibration_c=calibration)
    (found,) = corrected([reading], plan().must)
    course = must_course(plan().must)
    alcohol = min(max(float(course.alcohol_at(course.used_at_gravity(gravity))), 0.0), 20.0)
    exact = float(gravity_from_hydrometer(gravity, sample, calibration, alcohol))
    assert found == pytest.approx(exact, abs=1e-4)


@pytest.mark.parametrize("brix", [24.0, 18.0, 14.0])
def test_a_refractometer_is_corrected_for_alcohol(brix):
    """Within 0.002 of the reference, which takes all extract as sugar where the must has less."""
    (found,) = corrected([Reading(brix=brix, instrument="refractometer")], plan().must)
    exact = fermented_from_refractometer(brix, plan().must.brix).fermented.gravity
    assert found == pytest.approx(exact, abs=0.002)


def test_impossible_readings_are_refused_by_name():
    for wrong, field in (
        ({}, "reading"),
        ({"gravity": 1.05, "brix": 12.0}, "brix"),
        ({"gravity": 1.5}, "gravity"),
        ({"gravity": 1.05, "instrument": "refractometer"}, "gravity"),
        ({"gravity": 1.05, "instrument": "tongue"}, "instrument"),
        ({"ph": 14.0}, "ph"),
    ):
        with pytest.raises(InputError) as refused:
            Reading(**wrong)
        assert refused.value.field == field


def test_a_correction_keeps_both_and_undo_brings_the_first_back():
    log = Log()
    first = log.read(24, 1.0)
    stand = next(s for s in log.stands() if s.entry.id == first.id)
    after = what_data(Reading(gravity=1.1))
    log.add(25, Correction(first.id, stand.at, stand.at, what_data(stand.what), after))
    assert log.at(30).gravity == pytest.approx(1.1)
    last = to_undo(log.entries)
    log.add(26, undoing(log.entries, last))
    assert log.at(30).gravity == pytest.approx(1.0)
    again = to_undo(log.entries)
    assert again.id == first.id
    log.add(27, undoing(log.entries, again))
    assert log.at(30).gravity is None
    assert to_undo(log.entries).what == Event("pitched")
    log.add(28, undoing(log.entries, to_undo(log.entries)))
    assert to_undo(log.entries) is None
    assert len(log.entries) == 7


def test_removed_entries_do_not_count_and_stay():
    log = Log()
    first = log.read(24, 1.1)
    log.add(25, Removal(first.id))
    assert not log.at(30).points
    assert [s.removed for s in log.stands()] == [False, False, True]


def test_honey_added_raises_the_start_and_not_the_alarm():
    log = Log()
    log.read(100, 1.060)
    log.add(110, Event("honey_in"))
    log.read(120, 1.080)
    state = log.at(121)
    assert state.original_gravity == pytest.approx(1.140, abs=0.001)
    assert state.alcohol_pct > 7


def test_feeds_given_count_by_their_jar():
    log = Log()
    log.add(20, FeedGiven((Given("dap", 4.0),), "f1"))
    log.add(30, FeedGiven((Given("dap", 1.0),)))
    state = log.at(40)
    assert state.given_g == {"dap": 5.0}
    assert state.fed_mg_l == pytest.approx(5.0 * plan().jar("dap").nitrogen_mg_g / 19.0)
    assert state.feeds[0].state == "given"


def test_the_slope_is_that_of_a_straight_fall_with_its_error():
    log = Log()
    for day in range(4):
        log.read(24 * (day + 1), 1.1 - 0.01 * day)
    slope = slope_of(log.at(100).points, 72)
    assert slope.per_day == pytest.approx(0.01)
    assert slope.sd == pytest.approx(0.001 / np.sqrt(5), rel=1e-6)
    assert slope_of(log.at(100).points[:1], 72) is None


@given(st.data())
def test_readings_come_back_from_their_data(data):
    reading = Reading(
        brix=data.draw(st.floats(-10, 50)),
        temperature_c=data.draw(st.none() | st.floats(-10, 60)),
        ph=data.draw(st.none() | st.floats(1.5, 8)),
        note=data.draw(st.text(st.characters(exclude_characters="\x00"), max_size=50)),
    )
    assert what_from("reading", what_data(reading)) == reading


def test_the_last_plan_that_counts_is_in_force():
    assert plan_in_force(Log().stands()) == plan()
    assert plan_in_force(()) is None
