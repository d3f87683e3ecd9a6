"""What part of a log says how a batch stands: small, made once, then updated with what is new.

A log of hundreds of readings is a few hundred kilobytes as records; its gist keeps the corrected
readings in rows of numbers and the few other lines as they are.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise

import numpy as np

from mustwright.batch.corrected_readings import observed
from mustwright.batch.entries import ADDS_SUGAR, Entry, Event, FeedGiven, Note, Photo, Reading
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.log import Standing, is_event, pitched_at, plan_in_force, standing
from mustwright.batch.plan import BatchPlan
from mustwright.batch.series import COLUMNS, EPOCH, Series, Trace
from mustwright.errors import InputError
from mustwright.texts import say

FORM = 3  # counts up when a correction of readings or this form changes: older ones are made again


@dataclass(frozen=True)
class Gist:
    """The part of a log that says how the batch stands.

    Parameters
    ----------
    plan : BatchPlan
        In force.
    pitched : datetime or None
    events, feeds : tuple of Standing
        Those that count, in order of time; finishing steps are among the events.
    series : Series
        Corrected readings of gravity.
    warmth : Trace
        Temperature of the must, by the readings and events that give it [°C].
    acid : Trace
        pH as read.
    last_at : datetime
        When the latest of all these happened; the gist says nothing about moments before it.
    version : int
        Of the batch.
    changed : int
        Version of the latest line that is more than a reading, a note or a picture.
    entries : int
        How many the log has, removed ones too.
    in_order : bool
        Whether the lines of the log follow one another in time.
    """

    plan: BatchPlan
    pitched: datetime | None
    events: tuple[Standing, ...]
    feeds: tuple[Standing, ...]
    series: Series
    warmth: Trace
    acid: Trace
    last_at: datetime
    version: int = 0
    changed: int = 0
    entries: int = 0
    in_order: bool = False

    @property
    def temperature(self) -> float | None:
        """Of the must, as last recorded [°C]."""
        last = self.warmth.last
        return None if last is None else last[1]

    @property
    def ph(self) -> tuple[datetime, float] | None:
        """Latest reading."""
        return self.acid.last

    @property
    def size_bytes(self) -> int:
        """Roughly what it takes up, without its plan [bytes]."""
        lines = len(self.events) + len(self.feeds)
        traced = len(self.warmth.at_us) + len(self.acid.at_us)
        read = 56 * self.series.at_us.size + len(self.series.ids) + 16 * traced
        return read + 1200 * lines + 2400


def gist_of(stands: Sequence[Standing], version: int = 0, until: datetime | None = None) -> Gist:
    """The gist of a log.

    Parameters
    ----------
    stands : sequence of Standing
        In order of time; removed ones are ignored.
    version : int
    until : datetime or None
        What happened after it is ignored.

    Raises
    ------
    InputError
        When the log holds no plan.
    """
    plan = plan_in_force(stands)
    if plan is None:
        raise InputError("plan", say("needs a plan in the log of the batch"), "none")
    live = [s for s in stands if not s.removed and (until is None or s.at <= until)]
    events, feeds = _events_and_feeds(live)
    pitched = pitched_at(events)
    plain = (Reading, Note, Photo)
    changes = [s.version for s in stands if s.changes or not isinstance(s.what, plain)]
    return Gist(
        plan,
        pitched,
        events,
        feeds,
        Series.of(observed(live, plan.must, pitched)),
        _warmth(live),
        _acid(live),
        live[-1].at if live else EPOCH,
        version,
        max(changes, default=0),
        len(stands),
        _in_order([s.entry for s in stands]),
    )


def _in_order(by_time: Sequence[Entry]) -> bool:
    return all(one.seq < other.seq for one, other in pairwise(by_time))


def _events_and_feeds(
    live: Sequence[Standing],
) -> tuple[tuple[Standing, ...], tuple[Standing, ...]]:
    events = tuple(s for s in live if isinstance(s.what, Event | StepDone))
    return events, tuple(s for s in live if isinstance(s.what, FeedGiven))


def gist_bytes(gist: Gist) -> bytes:
    """A gist for keeping: without plan, events and feeds, which are lines of the log."""
    series = gist.series
    head = {
        "form": FORM,
        "version": gist.version,
        "changed": gist.changed,
        "entries": gist.entries,
        "in_order": gist.in_order,
        "last_at": gist.last_at.isoformat(),
        "readings": int(series.at_us.size),
        "ids": series.ids,
        "warmth": len(gist.warmth.at_us),
        "acid": len(gist.acid.at_us),
    }
    rows = series.at_us.astype("<i8").tobytes() + series.values.astype("<f8").tobytes()
    traces = gist.warmth.bytes() + gist.acid.bytes()
    return json.dumps(head).encode() + b"\n" + rows + traces


def gist_from(content: bytes, lines: Sequence[Entry]) -> Gist | None:
    """A gist that was kept; None if it has another form or is damaged.

    Parameters
    ----------
    lines : sequence of Entry
        Of the log, without readings, notes and pictures; those after the gist's version are
        ignored.
    """
    try:
        text, _, rows = content.partition(b"\n")
        head = json.loads(text)
        if head["form"] != FORM:
            return None
        count, version = head["readings"], head["version"]
        at_us = np.frombuffer(rows, "<i8", count)
        values = np.frombuffer(rows, "<f8", count * len(COLUMNS), 8 * count)
        traces = rows[8 * count * (1 + len(COLUMNS)) :]
        warmth = Trace.kept(traces, head["warmth"])
        acid = Trace.kept(traces[16 * head["warmth"] :], head["acid"])
        stands = standing([e for e in lines if e.seq <= version])
        plan = plan_in_force(stands)
        if plan is None:
            return None
        events, feeds = _events_and_feeds([s for s in stands if not s.removed])
        return Gist(
            plan,
            pitched_at(events),
            events,
            feeds,
            Series(at_us, values.reshape(len(COLUMNS), count), head["ids"]),
            warmth,
            acid,
            datetime.fromisoformat(head["last_at"]),
            version,
            head["changed"],
            head["entries"],
            head["in_order"],
        )
    except (ValueError, KeyError, TypeError):
        return None


def brought_forward(gist: Gist, new: Sequence[Entry], version: int) -> Gist | None:
    """The gist with lines that were added since; None if the whole log has to be read again.

    Parameters
    ----------
    new : sequence of Entry
        Every line after the gist's version.
    """
    later = sorted(new, key=lambda e: (e.at, e.seq))
    if any(not isinstance(e.what, Reading | Note | Photo) for e in later):
        return None
    if later and later[0].at < gist.last_at:
        return None
    if any(is_event(s, *ADDS_SUGAR) for s in gist.events):
        return None  # what they added shows in the readings before and after
    stands = [Standing(e, e.at, e.what, False, e.seq) for e in later]
    added = observed(stands, gist.plan.must, gist.pitched)
    return replace(
        gist,
        series=gist.series.and_then(Series.of(added)),
        warmth=gist.warmth.and_then(_warmth(stands)),
        acid=gist.acid.and_then(_acid(stands)),
        last_at=later[-1].at if later else gist.last_at,
        version=version,
        entries=gist.entries + len(later),
        in_order=gist.in_order and _in_order(later),
    )


def _warmth(stands: Sequence[Standing]) -> Trace:
    told = ((s.at, s.what) for s in stands if isinstance(s.what, Reading | Event))
    return Trace.of((at, what.temperature_c) for at, what in told if what.temperature_c is not None)


def _acid(stands: Sequence[Standing]) -> Trace:
    read = ((s.at, s.what.ph) for s in stands if isinstance(s.what, Reading))
    return Trace.of((at, ph) for at, ph in read if ph is not None)
