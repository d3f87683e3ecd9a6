"""When does a reminder ring: in waking hours, unless a feed cannot wait for them."""

from __future__ import annotations

from datetime import datetime, time, timedelta, tzinfo

# Nobody feeds at night by choice: common practice, no source.
FIRST, LAST = time(8), time(21)
# How long a feed that the plan counts in hours may wait for the morning: a quarter of the day that
# lies between two daily feeds. Common practice, no source.
HOURS_MAY_WAIT = timedelta(hours=6)


def is_waking(when: datetime, zone: tzinfo) -> bool:
    """Whether a moment lies between 08:00 and 21:00 there."""
    return FIRST <= when.astimezone(zone).time() <= LAST


def next_morning(when: datetime, zone: tzinfo) -> datetime:
    """The moment itself by day; by night the 08:00 that follows.

    Examples
    --------
    >>> from datetime import UTC
    >>> next_morning(datetime(2031, 5, 1, 22, tzinfo=UTC), UTC).isoformat()
    '2031-05-02T08:00:00+00:00'
    """
    if is_waking(when, zone):
        return when
    here = when.astimezone(zone)
    day = here.date() + timedelta(days=here.time() > LAST)
    return datetime.combine(day, FIRST, zone)


def evening_before(when: datetime, zone: tzinfo) -> datetime:
    """The moment itself by day; by night the 21:00 that went before."""
    if is_waking(when, zone):
        return when
    here = when.astimezone(zone)
    day = here.date() - timedelta(days=here.time() < FIRST)
    return datetime.combine(day, LAST, zone)


def reminder(
    expected: datetime, low: datetime, high: datetime, now: datetime, zone: tzinfo
) -> datetime:
    """When to ring for a feed.

    Parameters
    ----------
    expected, low, high : datetime
        When it is expected, and the range in which its moment may come.
    now : datetime
    zone : tzinfo
        Where the maker sleeps.

    Returns
    -------
    datetime
        Never before now. By night the nearer of evening and morning within the range; an overdue
        feed waits for the morning; one whose range holds neither binds and rings by night.

    Examples
    --------
    >>> from datetime import UTC
    >>> night = datetime(2031, 5, 2, 3, tzinfo=UTC)
    >>> low, high = night - timedelta(hours=4), night + timedelta(hours=9)
    >>> reminder(night, low, high, night - timedelta(days=1), UTC).isoformat()
    '2031-05-02T08:00:00+00:00'
    >>> reminder(night, night, night, night - timedelta(days=1), UTC) == night
    True
    """
    if expected <= now:
        return next_morning(now, zone)
    if is_waking(expected, zone):
        return expected
    evening, morning = evening_before(expected, zone), next_morning(expected, zone)
    fits = [at for at in (morning, evening) if max(low, now) <= at <= high]
    return min(fits, key=lambda at: abs(at - expected), default=expected)
