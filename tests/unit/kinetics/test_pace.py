"""The usual pace: finite, in order, quicker when warm, slower when strong."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import cases
from mustwright.kinetics.pace import BAND, usual_pace

BRIX = st.floats(0, 45)
TEMPERATURE = st.floats(0, 45)
NITROGEN = st.floats(0, 1000)


@cases(300)
@given(BRIX, TEMPERATURE, NITROGEN, st.floats(0, 1))
def test_hours_are_finite_and_in_order(brix, temperature, nitrogen, fraction):
    pace = usual_pace(brix, temperature, nitrogen)
    onset, there = pace.hours_to_onset(), pace.hours_to_sugar_used(fraction)
    assert 0 < onset.value <= there.value < math.inf
    assert there.low == pytest.approx(there.value / BAND)
    assert there.high == pytest.approx(there.value * BAND)
    later = pace.hours_to_sugar_used(min(fraction + 0.1, 1.0))
    assert later.value >= there.value


@cases(300)
@given(st.floats(1, 45), TEMPERATURE, NITROGEN, st.floats(0, 1))
def test_hours_and_sugar_are_inverse(brix, temperature, nitrogen, fraction):
    pace = usual_pace(brix, temperature, nitrogen)
    hours = pace.hours_to_sugar_used(fraction).value
    assert pace.sugar_used_at(hours) == pytest.approx(fraction, abs=1e-9)


@cases(200)
@given(st.floats(1, 45), NITROGEN, st.floats(5, 37), st.floats(0.1, 1))
def test_warmer_is_sooner(brix, nitrogen, temperature, more):
    cool, warm = (
        usual_pace(brix, temperature, nitrogen),
        usual_pace(brix, temperature + more, nitrogen),
    )
    assert warm.lag_h < cool.lag_h
    assert warm.brix_per_h > cool.brix_per_h


@cases(200)
@given(BRIX, TEMPERATURE, NITROGEN, st.floats(0.1, 5))
def test_stronger_takes_longer(brix, temperature, nitrogen, more):
    weak = usual_pace(brix, temperature, nitrogen).hours_to_sugar_used(1 / 3)
    strong = usual_pace(brix + more, temperature, nitrogen).hours_to_sugar_used(1 / 3)
    assert strong.value >= weak.value


def test_more_nitrogen_is_quicker():
    assert usual_pace(24, 20, 300).brix_per_h > usual_pace(24, 20, 50).brix_per_h


def test_a_must_without_sugar_is_done():
    pace = usual_pace(0, 20, 0)
    assert pace.sugar_used_at(0) == 1
    assert pace.hours_to_sugar_used(1).value == pace.lag_h


def test_a_well_fed_must_takes_about_a_week_to_ten_days():
    """Staged, well-fed must: 7 to 10 days of primary; status: common practice, no source.

    The band of the pace (a factor of 1.6 either way) has to overlap it.
    """
    days = usual_pace(24, 20, 200).hours_to_sugar_used(0.97)
    assert days.low / 24 < 10
    assert days.high / 24 > 7
