"""When is now, and how is a moment said: the margin for what is dated ahead, and days in words."""

from __future__ import annotations

from datetime import date, datetime, timedelta, tzinfo

from mustwright.errors import InputError
from mustwright.texts import say

NOW = say("now")
YEAR_CLEAR = 180  # days either way that a day of a month says which year is meant
AHEAD = timedelta(minutes=10)  # clocks of phones and devices differ; more than that is a wrong date


def refuse_future(field: str, at: datetime, now: datetime, typed: object = None) -> None:
    """Refuse a moment that has not come yet.

    Parameters
    ----------
    field : str
        Where it was typed.
    at, now : datetime
        With their zones.
    typed : object
        What came; the moment itself where it is None.

    Raises
    ------
    InputError
        If it lies more than `AHEAD` after now.
    """
    if at > now + AHEAD:
        minutes = AHEAD.total_seconds() / 60
        needs = say(
            "needs a time that is not ahead (at most {minutes:.0f} minutes ahead of this clock)",
            minutes=minutes,
        )
        raise InputError(field, needs, at.isoformat() if typed is None else typed)


def clock(moment: datetime, now: datetime, zone: tzinfo) -> str:
    """A moment as people say it: today about 18:00, Friday 3 May about 07:00.

    Examples
    --------
    >>> from datetime import UTC
    >>> clock(datetime(2031, 5, 1, 17, 55, tzinfo=UTC), datetime(2031, 5, 1, 8, tzinfo=UTC), UTC)
    'today about 18:00'
    """
    local = to_half_hour(moment.astimezone(zone))
    return say("{day} about {at:%H:%M}", day=day_words(moment, now, zone), at=local)


def day_words(moment: datetime, now: datetime, zone: tzinfo) -> str:
    """The day of a moment: today, tomorrow, yesterday, or Friday 3 May."""
    local, here = to_half_hour(moment.astimezone(zone)), now.astimezone(zone)
    days = (local.date() - here.date()).days
    named = {-1: say("yesterday"), 0: say("today"), 1: say("tomorrow")}.get(days)
    if named is None and abs(days) > YEAR_CLEAR:
        return date_words(local)
    return named or say("{at:%A} {day} {at:%B}", at=local, day=local.day)


def date_words(day: date) -> str:
    """A day with its year.

    Examples
    --------
    >>> date_words(date(2031, 5, 3))
    '3 May 2031'
    """
    return say("{day} {at:%B %Y}", at=day, day=day.day)


def between(low: datetime, high: datetime | None, now: datetime, zone: tzinfo) -> str:
    """A range of moments in brackets, from now on; empty where it is under an hour.

    Parameters
    ----------
    low : datetime
    high : datetime or None
        None where it has no end.
    now : datetime
    zone : tzinfo

    Returns
    -------
    str
    """
    if high is None:
        if low <= now:
            return ""
        first = to_half_hour(low.astimezone(zone))
        return say(" (from {day} {first:%H:%M} on)", day=day_words(low, now, zone), first=first)
    if (high - low) < timedelta(hours=1):
        return ""
    low = max(low, now)
    high = max(low, high)
    from_day, to_day = (day_words(moment, now, zone) for moment in (low, high))
    first, last = (to_half_hour(moment.astimezone(zone)) for moment in (low, high))
    if from_day == to_day:
        return say(
            " (between {day} {first:%H:%M} and {last:%H:%M})", day=from_day, first=first, last=last
        )
    return say(
        " (between {from_day} {first:%H:%M} and {to_day} {last:%H:%M})",
        from_day=from_day,
        first=first,
        to_day=to_day,
        last=last,
    )


def to_half_hour(moment: datetime) -> datetime:
    """The nearest half hour."""
    plain = moment.replace(minute=0, second=0, microsecond=0)
    return plain + timedelta(minutes=30 * round((moment - plain).total_seconds() / 1800))
