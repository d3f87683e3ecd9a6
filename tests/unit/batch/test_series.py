"""Readings as rows of numbers: the records made of them, parts, and what is asked of the rows."""

from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mustwright.batch.corrected_readings import Point
from mustwright.batch.outlook import anchor, crossed
from mustwright.batch.progress import used_at
from mustwright.batch.series import EPOCH, Series

MINUTE = timedelta(minutes=1)


def point(minute, used=0.0, number=0):
    gravity = 1.1 - 0.1 * used
    return Point(EPOCH + minute * MINUTE, minute / 60, gravity, 0.001, used, 1.1, f"r{number}")


readings = st.lists(
    st.tuples(st.integers(-3000, 50_000), st.floats(0, 1)), max_size=30, unique_by=lambda r: r[0]
).map(lambda rows: [point(m, u, k) for k, (m, u) in enumerate(sorted(rows))])
hours = st.floats(-60, 900)


@given(readings, st.integers(-40, 40), st.integers(-40, 40), st.integers(1, 3))
def test_it_behaves_as_the_records_it_was_made_of(points, start, stop, step):
    series = Series.of(points)
    assert list(series) == points
    assert len(series) == len(points)
    assert list(series[start:stop]) == points[start:stop]
    assert list(series[start:stop:step]) == points[start:stop:step]
    assert list(reversed(series)) == points[::-1]
    part = series[start:stop]
    assert [part[k] for k in range(len(part))] == points[start:stop]
    assert bool(series) == bool(points)
    assert part == Series.of(points[start:stop])
    if points:
        assert series[-1] == points[-1]
        assert series != Series.of(points[1:])


def test_a_place_that_is_not_there_is_refused():
    with pytest.raises(IndexError):
        Series.of([point(1)])[1]


@given(readings, hours, st.integers(-3000, 50_000))
def test_parts_by_hour_and_by_moment(points, hour, minute):
    series = Series.of(points)
    assert list(series.from_hour(hour)) == [p for p in points if p.hours >= hour]
    assert list(series.past_hour(hour)) == [p for p in points if p.hours > hour]
    at = EPOCH + minute * MINUTE
    assert series.until(at) == sum(p.at <= at for p in points)
    joined = series[: series.until(at)].and_then(series[series.until(at) :])
    assert joined == series


@given(readings, st.floats(0.01, 1))
def test_when_a_fraction_was_passed_lies_on_the_line_through_the_readings(points, fraction):
    found = crossed(Series.of(points), fraction)
    after = [p for p in points if p.hours > 0]
    if not any(p.used >= fraction for p in after):
        assert found == (after[-1].hours if after else 0.0)
        return
    k = next(i for i, p in enumerate(after) if p.used >= fraction)
    start = after[k - 1].hours if k else 0.0
    assert start - 1e-9 <= found <= after[k].hours + 1e-9
    most = max([p.used for p in after[:k]], default=0.0)
    if after[k].used - most > 1e-6:
        share = (found - start) / (after[k].hours - start)
        assert most + share * (after[k].used - most) == pytest.approx(fraction, abs=1e-6)


def test_sugar_gone_between_and_beyond_readings():
    series = Series.of([point(-60, 0.0, 0), point(600, 0.2, 1), point(1200, 0.6, 2)])
    assert used_at(series, 5) == pytest.approx(0.1)
    assert used_at(series, 15) == pytest.approx(0.4)
    assert used_at(series, 100) == pytest.approx(0.6)
    assert used_at(Series.of(()), 5) == 0.0
    assert anchor(series) == pytest.approx((20.0, 0.6))
    assert anchor(series[:1]) == anchor(Series.of(())) == (0.0, 0.0)


def test_a_part_shares_the_numbers_of_the_whole():
    series = Series.of([point(k, 0.0, k) for k in range(5)])
    assert np.shares_memory(series[1:4].values, series.values)
    assert series[:] is series
