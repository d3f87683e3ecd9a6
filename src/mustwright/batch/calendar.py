"""Feeds, checks and tastings in the maker's calendar: a file, and a feed that follows changes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, time, timedelta, tzinfo
from typing import TYPE_CHECKING, Any

from mustwright.batch.log_text import dose_words
from mustwright.batch.outlook import Span
from mustwright.batch.plan import PlannedFeed
from mustwright.batch.progress import FeedState
from mustwright.batch.salt_reading import open_parts
from mustwright.batch.tasting_dates import closed_at, tasting_dates
from mustwright.batch.view import BatchView
from mustwright.batch.waking_hours import HOURS_MAY_WAIT, is_waking, next_morning, reminder
from mustwright.languages import here
from mustwright.nutrition.triggers import said_again
from mustwright.planning.salt_text import cautions_beside
from mustwright.texts import Text, join, kept, say, say_n

if TYPE_CHECKING:
    from icalendar import Calendar, Event

DOMAIN = "batch.mustwright.invalid"
TASTE_AT = time(18)
IN_HOURS = ("pitch", "after_pitch")  # feeds whose moment is a matter of the clock alone
TASTE = say(
    "A mead changes for months. Open one bottle, taste it, and compare with last time. "
    "Write it down under 'Looking back'."
)
LONG = timedelta(minutes=30)
EARLY_ALARM, REFRESH = timedelta(minutes=-30), timedelta(hours=1)


def calendar_text(views: Sequence[BatchView], name: str, zone: tzinfo) -> bytes:
    """The calendar of some batches, RFC 5545; it rings in the waking hours of `zone`.

    It is in the language spoken here.

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
    made.add("x-wr-calname", here(name))
    made.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    made.add("x-published-ttl", REFRESH, parameters={"VALUE": "DURATION"})
    for view in views:
        for event in _events(view, zone):
            made.add_component(event)
    return bytes(made.to_ical())


def _events(view: BatchView, zone: tzinfo) -> list[Event]:
    found = [_feed(view, state, zone) for state in view.progress.feeds if view.progress.pitched]
    salts = _salts(view, zone) if view.progress.pitched else []
    check = _check(view, zone)
    return [e for e in (*found, *salts, check, *_tastings(view, zone)) if e is not None]


def _salts(view: BatchView, zone: tzinfo) -> list[Event]:
    """The salt of the plan: a pH to read, with the dose that stands ready; cancelled once read."""
    salt = view.progress.plan.salt
    left = {part.key for part in open_parts(view.progress, view.assessed)}
    found = []
    for part in salt.parts if salt and not view.assessed.is_stale else ():
        assert salt is not None
        low, due, high = _range(view, view.outlook.due(part.rule))
        is_open = part.key in left
        when = reminder(due, low, high, view.progress.now, zone) if is_open else due
        summary = say("read pH; {dose}", dose=salt.dose_words(part))
        event = _event(view, part.key, when, summary)
        cautions = cautions_beside(salt.steps, [kept(text) for text in salt.cautions])
        _describe(event, (*map(kept, salt.steps), *cautions))
        event.add("status", "TENTATIVE" if is_open else "CANCELLED")
        if is_open:
            _alarms(event, _of(view, say("read pH")), when, zone)
        found.append(event)
    return found


def _tastings(view: BatchView, zone: tzinfo) -> list[Event]:
    """Of a finished mead: when to open a bottle and taste."""
    closed = closed_at(view.events)
    found = []
    for months, when in () if closed is None else tasting_dates(closed):
        lead = say_n("taste it, {count} month on", "taste it, {count} months on", months)
        when = datetime.combine(when.astimezone(zone).date(), TASTE_AT, zone)
        event = _event(view, f"taste-{months}", when, lead)
        _describe(event, (TASTE,))
        event.add("status", "TENTATIVE")
        _alarms(event, _of(view, lead), when, zone)
        found.append(event)
    return found


def _range(view: BatchView, span: Span) -> tuple[datetime, datetime, datetime]:
    """The earliest, the expected and the latest moment of what falls due."""
    low, expected, high = (
        view.progress.moment(h) for h in (span.low_h, span.expected_h, span.high_h)
    )
    return low, expected, high


def _feed(view: BatchView, state: FeedState, zone: tzinfo) -> Event | None:
    feed = state.feed
    when = state.given_at
    if when is None and state.state == "withdrawn":
        when = view.progress.now
    if when is None and view.assessed.is_stale:
        return None  # a reading comes first, and stands in the calendar by itself
    if when is None:
        span = view.outlook.due(feed.rule)
        if not span.is_foreseen:
            return None
        low, expected, high = _range(view, span)
        if feed.rule.kind in IN_HOURS:
            high = expected + HOURS_MAY_WAIT
        when = reminder(expected, low, high, view.progress.now, zone)
    doses = [dose_words(dose, view.progress.plan) for dose in feed.doses]
    amounts = join(", ", doses) if doses else say("nothing")
    given = state.state == "given"
    summary = (
        say("fed '{feed}'", feed=kept(feed.name))
        if given
        else say("feed {amounts}", amounts=amounts)
    )
    event = _event(view, feed.key, when, summary)
    _describe(event, _words(view, feed))
    if given:
        event.add("status", "CONFIRMED")
    elif state.state in ("skipped", "dropped", "withdrawn"):
        event.add("status", "CANCELLED")
    else:
        event.add("status", "TENTATIVE")
        text = say("Feed {batch}: {amounts}", batch=view.record.name, amounts=amounts)
        _alarms(event, text, when, zone)
    return event


def _words(view: BatchView, feed: PlannedFeed) -> list[str]:
    """What to know about a feed, line by line, in the language spoken here."""
    due = say("{feed}, {trigger}.", feed=kept(feed.name), trigger=kept(said_again(feed.words)))
    lines: list[str] = [due, *map(kept, feed.notes)]
    withdrawn = next((s.why for s in view.progress.feeds if s.feed.key == feed.key and s.why), "")
    if withdrawn:
        lines.append(say("Withdrawn: {why}.", why=kept(withdrawn)))
    if feed.dropped:
        lines.append(say("Left out: {why}.", why=kept(feed.dropped)))
    if feed.caution:
        lines.append(kept(feed.caution))
    lines = [here(line) for line in lines]
    if view.step.feed == feed.key:
        more = here(kept(view.step.caution))
        for line in lines:
            more = more.replace(line, "").strip()
        lines.append(more)
    return lines


def _check(view: BatchView, zone: tzinfo) -> Event | None:
    """The next look at the batch, where the next step is no feed."""
    step = view.step
    if step.kind not in ("read", "check", "restart", "finish", "replan"):
        return None
    when = next_morning(max(step.at or view.progress.now, view.progress.now), zone)
    event = _event(view, "next-check", when, step.lead)
    _describe(event, (step.sentence, step.caution))
    event.add("status", "TENTATIVE")
    _alarms(event, _of(view, step.lead), when, zone)
    return event


def _of(view: BatchView, text: str) -> Text:
    """A text with the name of the batch before it."""
    return join(": ", (view.record.name, text))


def _describe(event: Event, lines: Iterable[str]) -> None:
    event.add("description", "\n".join(here(line) for line in lines if line))


def _event(view: BatchView, key: str, when: datetime, summary: str) -> Event:
    from icalendar import Event

    event: Any = Event()
    start = when.astimezone(UTC).replace(second=0, microsecond=0)
    event.add("uid", f"{view.record.slug}-{key}@{DOMAIN}")
    event.add("sequence", view.record.version)
    event.add("dtstamp", view.record.updated_at.astimezone(UTC).replace(microsecond=0))
    event.add("dtstart", start)
    event.add("dtend", start + LONG)
    event.add("summary", here(_of(view, summary)))
    event.add("transp", "TRANSPARENT")
    return event  # type: ignore[no-any-return]


def _alarms(event: Event, text: str, when: datetime, zone: tzinfo) -> None:
    """Ring then, and half an hour before where that is no earlier than one may be woken."""
    from icalendar import Alarm

    early = (EARLY_ALARM,) if is_waking(when + EARLY_ALARM, zone) else ()
    for before in (*early, timedelta(0)):
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", here(text))
        alarm.add("trigger", before)
        event.add_component(alarm)
