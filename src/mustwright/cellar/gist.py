"""What of a log says how a batch stands: small, made once, and brought forward by what is new.

A log of hundreds of readings is a few hundred kilobytes as records; its gist keeps the corrected
readings in rows of numbers and the few lines that are no readings as they are.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from mustwright.cellar.entries import ADDS_SUGAR, Entry, Event, FeedGiven, Note, Photo, Reading
from mustwright.cellar.log import Standing, is_event, pitched_at, plan_in_force, standing
from mustwright.cellar.observed import Point, observed
from mustwright.cellar.plan import BatchPlan
from mustwright.cellar.step_done import StepDone
from mustwright.errors import InputError

FORM = 1  # counts up when a correction of readings or this form changes: older ones are made anew
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)
COLUMNS = ("hours", "gravity", "gravity_sd", "used", "original_gravity")


@dataclass(frozen=True)
class Series:
    """Corrected readings as rows of numbers.

    Parameters
    ----------
    at_us : ndarray of int64
        Microseconds since 1970 [µs].
    values : ndarray
        `COLUMNS` by readings, as in `observed.Point`.
    ids : str
        Of the entries, a blank between them.
    """

    at_us: NDArray[np.int64]
    values: NDArray[np.float64]
    ids: str

    @classmethod
    def of(cls, points: Sequence[Point]) -> Series:
        """Of readings in order of time."""
        rows = [[getattr(p, name) for p in points] for name in COLUMNS]
        at = [(p.at - EPOCH) // MICROSECOND for p in points]
        return cls(np.array(at, np.int64), np.array(rows), " ".join(p.id for p in points))

    def points(self) -> tuple[Point, ...]:
        """The readings as records."""
        if not self.at_us.size:
            return ()
        rows = zip(self.at_us.tolist(), *self.values.tolist(), self.ids.split(" "), strict=True)
        return tuple(_point(row) for row in rows)

    def and_then(self, later: Series) -> Series:
        """With readings that came after."""
        if not later.at_us.size or not self.at_us.size:
            return later if later.at_us.size else self
        return Series(
            np.concatenate([self.at_us, later.at_us]),
            np.concatenate([self.values, later.values], axis=1),
            f"{self.ids} {later.ids}",
        )


def _point(row: tuple[int, float, float, float, float, float, str]) -> Point:
    """Made without the checks of a frozen record's constructor: hundreds of them for each look."""
    at_us, hours, gravity, sd, used, original, id = row
    made = object.__new__(Point)
    made.__dict__.update(
        at=EPOCH + timedelta(microseconds=at_us),
        hours=hours,
        gravity=gravity,
        gravity_sd=sd,
        used=used,
        original_gravity=original,
        id=id,
    )
    return made


@dataclass(frozen=True)
class Gist:
    """What of a log says how the batch stands.

    Parameters
    ----------
    plan : BatchPlan
        In force.
    pitched : datetime or None
    events, feeds : tuple of Standing
        Those that count, in order of time; finishing steps are among the events.
    series : Series
        Corrected readings of gravity.
    temperature : float or None
        Of the must, by the latest reading or event that tells it [°C].
    ph : tuple of (datetime, float) or None
        Latest reading.
    last_at : datetime
        When the latest of all these happened; the gist says nothing of moments before it.
    version : int
        Of the batch.
    changed : int
        Version of the latest line that is more than a reading, a note or a picture.
    """

    plan: BatchPlan
    pitched: datetime | None
    events: tuple[Standing, ...]
    feeds: tuple[Standing, ...]
    series: Series
    temperature: float | None
    ph: tuple[datetime, float] | None
    last_at: datetime
    version: int = 0
    changed: int = 0

    @property
    def size_bytes(self) -> int:
        """About what it takes, its plan aside [bytes]."""
        lines = len(self.events) + len(self.feeds)
        return 56 * self.series.at_us.size + len(self.series.ids) + 1200 * lines + 2000


def gist_of(stands: Sequence[Standing], version: int = 0, until: datetime | None = None) -> Gist:
    """The gist of a log.

    Parameters
    ----------
    stands : sequence of Standing
        In order of time; removed ones are passed over.
    version : int
    until : datetime or None
        What happened after it is passed over.

    Raises
    ------
    InputError
        When the log holds no plan.
    """
    plan = plan_in_force(stands)
    if plan is None:
        raise InputError("plan", "needs a plan in the log of the batch", "none")
    live = [s for s in stands if not s.removed and (until is None or s.at <= until)]
    events, feeds = _events_and_feeds(live)
    pitched = pitched_at(events)
    temperature, ph = _latest(live)
    plain = (Reading, Note, Photo)
    changes = [s.version for s in stands if s.changes or not isinstance(s.what, plain)]
    return Gist(
        plan,
        pitched,
        events,
        feeds,
        Series.of(observed(live, plan.must, pitched)),
        temperature,
        ph,
        live[-1].at if live else EPOCH,
        version,
        max(changes, default=0),
    )


def _events_and_feeds(
    live: Sequence[Standing],
) -> tuple[tuple[Standing, ...], tuple[Standing, ...]]:
    events = tuple(s for s in live if isinstance(s.what, Event | StepDone))
    return events, tuple(s for s in live if isinstance(s.what, FeedGiven))


def gist_bytes(gist: Gist) -> bytes:
    """A gist to be kept: without plan, events and feeds, which are lines of the log."""
    series = gist.series
    head = {
        "form": FORM,
        "version": gist.version,
        "changed": gist.changed,
        "temperature": gist.temperature,
        "ph": [gist.ph[0].isoformat(), gist.ph[1]] if gist.ph else None,
        "last_at": gist.last_at.isoformat(),
        "readings": int(series.at_us.size),
        "ids": series.ids,
    }
    rows = series.at_us.astype("<i8").tobytes() + series.values.astype("<f8").tobytes()
    return json.dumps(head).encode() + b"\n" + rows


def gist_from(content: bytes, lines: Sequence[Entry]) -> Gist | None:
    """A gist that was kept; None for one of another form, or damaged.

    Parameters
    ----------
    lines : sequence of Entry
        Of the log, no readings, notes or pictures among them; those behind the gist's version
        are passed over.
    """
    try:
        text, _, rows = content.partition(b"\n")
        head = json.loads(text)
        if head["form"] != FORM:
            return None
        count, version = head["readings"], head["version"]
        at_us = np.frombuffer(rows, "<i8", count)
        values = np.frombuffer(rows, "<f8", count * len(COLUMNS), 8 * count)
        stands = standing([e for e in lines if e.seq <= version])
        plan = plan_in_force(stands)
        ph = head["ph"]
        if plan is None:
            return None
        events, feeds = _events_and_feeds([s for s in stands if not s.removed])
        return Gist(
            plan,
            pitched_at(events),
            events,
            feeds,
            Series(at_us, values.reshape(len(COLUMNS), count), head["ids"]),
            head["temperature"],
            (datetime.fromisoformat(ph[0]), ph[1]) if ph else None,
            datetime.fromisoformat(head["last_at"]),
            version,
            head["changed"],
        )
    except (ValueError, KeyError, TypeError):
        return None


def brought_forward(gist: Gist, new: Sequence[Entry], version: int) -> Gist | None:
    """The gist with lines that were added since; None where the whole log has to be read again.

    Parameters
    ----------
    new : sequence of Entry
        Every line behind the gist's version.
    """
    later = sorted(new, key=lambda e: (e.at, e.seq))
    if any(not isinstance(e.what, Reading | Note | Photo) for e in later):
        return None
    if later and later[0].at < gist.last_at:
        return None
    if any(is_event(s, *ADDS_SUGAR) for s in gist.events):
        return None  # what they added shows by the reading before and the one after
    stands = [Standing(e, e.at, e.what, False, e.seq) for e in later]
    temperature, ph = _latest(stands)
    added = observed(stands, gist.plan.must, gist.pitched)
    return replace(
        gist,
        series=gist.series.and_then(Series.of(added)),
        temperature=gist.temperature if temperature is None else temperature,
        ph=ph or gist.ph,
        last_at=later[-1].at if later else gist.last_at,
        version=version,
    )


def _latest(stands: Sequence[Standing]) -> tuple[float | None, tuple[datetime, float] | None]:
    """Latest temperature of the must, by a reading or an event, and latest pH."""
    temperature: float | None = None
    ph: tuple[datetime, float] | None = None
    for stand in reversed(stands):
        what = stand.what
        if temperature is None and isinstance(what, Reading | Event):
            temperature = what.temperature_c
        if ph is None and isinstance(what, Reading) and what.ph is not None:
            ph = (stand.at, what.ph)
        if temperature is not None and ph is not None:
            break
    return temperature, ph
