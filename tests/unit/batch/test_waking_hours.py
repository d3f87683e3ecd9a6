"""A reminder rings by day, unless a feed cannot wait; never before now, never outside its range."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import cases
from mustwright.batch.waking_hours import evening_before, is_waking, next_morning, reminder

MIDNIGHT = datetime(2031, 3, 29, tzinfo=UTC)
ZONES = [ZoneInfo(name) for name in ("Europe/Berlin", "America/Denver", "Asia/Kolkata")]
hours = st.floats(0, 24 * 4, allow_nan=False)


@cases(200)
@given(hours, hours, hours, hours, st.sampled_from(ZONES))
def test_a_reminder_is_by_day_or_has_no_other_moment(at, early, late, now, zone):
    expected = MIDNIGHT + timedelta(hours=at)
    low, high = expected - timedelta(hours=early), expected + timedelta(hours=late)
    now = MIDNIGHT + timedelta(hours=now)
    when = reminder(expected, low, high, now, zone)
    assert when >= now
    if expected <= now:
        assert is_waking(when, zone)
        assert when - now <= timedelta(hours=12)
    elif when != expected:
        assert low <= when <= high
        assert is_waking(when, zone)
    elif not is_waking(when, zone):
        for other in (evening_before(when, zone), next_morning(when, zone)):
            assert not max(low, now) <= other <= high


@pytest.mark.parametrize(
    ("hour", "morning", "evening"),
    [(7.98, 8, -3), (8, 8, 8), (21, 21, 21), (21.02, 32, 21), (24.5, 32, 21)],
)
def test_the_edges_of_the_night(hour, morning, evening):
    when = MIDNIGHT + timedelta(hours=hour)
    assert next_morning(when, UTC) == MIDNIGHT + timedelta(hours=morning)
    assert evening_before(when, UTC) == MIDNIGHT + timedelta(hours=evening)
