"""Feeds, checks and tastings in the maker's calendar: a file, and a feed that follows changes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from mustwright.batch.plan import PlannedFeed
from mustwright.batch.progress import FeedState
from mustwright.batch.tasting_dates import closed_at, tasting_dates
from mustwright.batch.view import BatchView

if TYPE_CHECKING:
    from icalendar import Calendar, Event

DOMAIN = "batch.mustwright.invalid"
TASTE = "A mead changes for months. Open one bottle, taste it, and compare with last time."
LONG = timedelta(minutes=30)
EARLY_ALARM, REFRESH = timedelta(minutes=-30), timedelta(hours=1)


def calendar_text(views: Sequence[BatchView], name: str) -> bytes:
    """The calendar of some batches, RFC 5545.

    Notes
    -----
    The UID of an event names batch and feed, so that a re-plan moves it instead of adding one.
    SEQUENCE is the version of the batch: it rises with each line of the log. A feed that was
    dropped or skipped stays, cancelled, so that calendars take it away.
    """
    from icalendar import Calendar

    made: Calendar = Calendar()
    made.add("prodid", "-//Mustwright//Batch calendar//EN")
    made.add("version", "2.0")
    made.add("method", "PUBLISH")
    made.add("x-wr-calname", name)
    made.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    made.add("x-published-ttl", REFRESH, parameters={"VALUE": "DURATION"})
    for view in views:
        for event in _events(view):
            made.add_component(event)
    return bytes(made.to_ical())


def _events(view: BatchView) -> list[Event]:
    found = [_feed(view, state) for state in view.progress.feeds if view.progress.pitched]
    check = _check(view)
    return [e for e in (*found, check, *_tastings(view)) if e is not None]


def _tastings(view: BatchView) -> list[Event]:
    """Of a finished mead: when to open a bottle and taste."""
    closed = closed_at(view.events)
    found = []
    for months, when in () if closed is None else tasting_dates(closed):
        ago = "month" if months == 1 else "months"
        lead = f"taste it, {months} {ago} on"
        event = _event(view, f"taste-{months}", when, f"{view.record.name}: {lead}")
        event.add("description", f"{TASTE} Write it down under 'Looking back'.")
        event.add("status", "TENTATIVE")
        _alarms(event, f"{view.record.name}: {lead}")
        found.append(event)
    return found


def _feed(view: BatchView, state: FeedState) -> Event | None:
    feed = state.feed
    when = state.given_at
    if when is None:
        span = view.outlook.due(feed.rule)
        if span.expected_h > 24 * 120:
            return None
        when = view.progress.moment(span.expected_h)
    grams = ", ".join(f"{d.grams:g} g {d.name}" for d in feed.doses) or "nothing"
    given = state.state == "given"
    summary = f"fed '{feed.name}'" if given else f"feed {grams}"
    event = _event(view, feed.key, when, f"{view.record.name}: {summary}")
    event.add("description", _words(view, feed))
    if given:
        event.add("status", "CONFIRMED")
    elif state.state in ("skipped", "dropped"):
        event.add("status", "CANCELLED")
    else:
        event.add("status", "TENTATIVE")
        _alarms(event, f"Feed {view.record.name}: {grams}")
    return event


def _words(view: BatchView, feed: PlannedFeed) -> str:
    lines = [f"{feed.name}, {feed.words}.", *feed.notes]
    if feed.dropped:
        lines.append(f"Left out: {feed.dropped}.")
    if feed.caution:
        lines.append(feed.caution)
    lines.append(view.step.caution if view.step.feed == feed.key else "")
    return "\n".join(line for line in lines if line)


def _check(view: BatchView) -> Event | None:
    """The next look at the batch, where the next step is no feed."""
    step = view.step
    if step.kind not in ("read", "check", "finish", "replan"):
        return None
    when = step.at if step.at is not None else view.progress.now
    event = _event(view, "next-check", when, f"{view.record.name}: {step.lead}")
    event.add("description", "\n".join(w for w in (step.sentence, step.caution) if w))
    event.add("status", "TENTATIVE")
    _alarms(event, f"{view.record.name}: {step.lead}")
    return event


def _event(view: BatchView, key: str, when: datetime, summary: str) -> Event:
    from icalendar import Event

    event: Any = Event()
    start = when.astimezone(UTC).replace(second=0, microsecond=0)
    event.add("uid", f"{view.record.slug}-{key}@{DOMAIN}")
    event.add("sequence", view.record.version)
    event.add("dtstamp", view.record.updated_at.astimezone(UTC).replace(microsecond=0))
    event.add("dtstart", start)
    event.add("dtend", start + LONG)
    event.add("summary", summary)
    event.add("transp", "TRANSPARENT")
    return event  # type: ignore[no-any-return]


def _alarms(event: Event, text: str) -> None:
    from icalendar import Alarm

    for before in (EARLY_ALARM, timedelta(0)):
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", text)
        alarm.add("trigger", before)
        event.add_component(alarm)
