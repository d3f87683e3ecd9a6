"""How far is the batch: gravity, sugar, pace, phase, feeds given and due, all from the log."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np

from mustwright import data
from mustwright.batch.corrected_readings import must_course
from mustwright.batch.early_readings import EarlyReading, counts_from_h, early_readings
from mustwright.batch.entries import CLOSES, FeedGiven
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.log import Standing, is_event
from mustwright.batch.plan import BatchPlan, PlannedFeed
from mustwright.batch.planned_salt import PlannedPart
from mustwright.batch.series import Series
from mustwright.batch.snapshot import Gist, gist_of
from mustwright.nutrition.triggers import THIRD

PLANNED, LAG, EARLY, MIDDLE, TAIL, DRY, FINISHING, CLOSED = (
    "not pitched",
    "lag",
    "first third",
    "middle",
    "tail",
    "dry or nearly",
    "finishing",
    "closed",
)
BUFFERS = ("potassium_bicarbonate", "potassium_carbonate", "calcium_carbonate")
ONSET_SIGNS = ("stirred", "degassed", "foamed_over")
PROBABLE = 1.645  # one-sided 95 %

NEAR_ENOUGH = 0.01  # of the sugar: a pH read this much before a moment counts as at it


@dataclass(frozen=True)
class Slope:
    """Fall of gravity over the latest readings.

    Parameters
    ----------
    per_day, sd : float
        Fall, positive when gravity goes down, and its standard error [SG/day].
    hours, count : float, int
        Span and number of readings it rests on.
    """

    per_day: float
    sd: float
    hours: float
    count: int

    def chance_below(self, per_day: float) -> float:
        """Probability that the true fall is under a threshold."""
        return 0.5 * (1 + math.erf((per_day - self.per_day) / (self.sd * math.sqrt(2))))


@dataclass(frozen=True)
class FedNitrogen:
    """Nitrogen of one feed that was given [mg N/L]."""

    hours: float
    used: float
    ammonium_mg_l: float
    amino_mg_l: float


@dataclass(frozen=True)
class FeedState:
    """A planned feed and what became of it.

    Parameters
    ----------
    state : str
        ``ahead``, ``given``, ``skipped``, ``dropped`` by a plan, or ``withdrawn`` as things stand.
    why : str
        Of one that is withdrawn.
    """

    feed: PlannedFeed
    state: str
    given_at: datetime | None = None
    grams: float = 0.0
    why: str = ""


@dataclass(frozen=True)
class Progress:
    """Everything that follows from plan and log at one moment.

    Parameters
    ----------
    hours : float or None
        Since pitch [h].
    gravity, gravity_sd : float or None
        Of the latest reading, corrected [-].
    sugar_used : float
        Fraction, by the latest reading; 0 before any.
    temperature_at : datetime or None
        When it was last recorded; None if only the plan gives it.
    onset_h : float or None
        When a fall of gravity was first seen, or a sign of work written down [h after pitch].
    given_g : mapping of str to float
        Grams of each nutrient so far.
    later : Series
        Readings since a finishing step ended the ferment; `points` are those before.
    salted_at : datetime or None
        When a carbonate was last written down among the feeds.
    early : tuple of EarlyReading
        Readings that do not count, since they are dated long before the pitch.
    """

    now: datetime
    plan: BatchPlan
    pitched: datetime | None
    hours: float | None
    phase: str
    points: Series
    gravity: float | None
    gravity_sd: float | None
    original_gravity: float
    sugar_used: float
    sugar_left_g_l: float
    alcohol_pct: float
    temperature_c: float
    temperature_at: datetime | None
    ph: float | None
    ph_at: datetime | None
    slope: Slope | None
    onset_h: float | None
    feeds: tuple[FeedState, ...]
    given_g: dict[str, float]
    fed: tuple[FedNitrogen, ...]
    last_reading_at: datetime | None
    later: Series = field(default_factory=lambda: Series.of(()))
    salted_at: datetime | None = None
    early: tuple[EarlyReading, ...] = ()

    @property
    def fed_mg_l(self) -> float:
        """Nitrogen fed so far, ammonium and amino together [mg N/L]."""
        return sum(f.ammonium_mg_l + f.amino_mg_l for f in self.fed)

    @property
    def temperature_read(self) -> bool:
        """Whether the must's temperature was recorded, not only planned."""
        return self.temperature_at is not None

    def moment(self, hours: float) -> datetime:
        """The clock time some hours after pitch (after now, when not pitched)."""
        return (self.pitched or self.now) + timedelta(hours=min(max(hours, -1e5), 1e5))


def progress(stands: Sequence[Standing], now: datetime) -> Progress:
    """Where a batch stands at `now`, from its log.

    Raises
    ------
    InputError
        When its log holds no plan.
    """
    return progress_of(gist_of(stands, until=now), now)


def progress_of(gist: Gist, now: datetime) -> Progress:
    """Where a batch stands at `now`, which is not before the latest line of the gist."""
    plan, pitched = gist.plan, gist.pitched
    points = gist.series
    known = points if pitched is None else points.from_hour(counts_from_h())
    rest = rest_at(gist.events)
    ended = len(known) if rest is None else known.until(rest)
    known, later = known[:ended], known[ended:]
    last = known[-1] if known else None
    used = last.used if last and pitched and last.hours > 0 else 0.0
    original = last.original_gravity if last else plan.must.gravity
    course = must_course(plan.must, original)
    given, fed = _given(gist.feeds, plan, points, pitched)
    onset = _onset(gist.events, points, pitched)
    shown = later[-1] if later else last
    return Progress(
        now=now,
        plan=plan,
        pitched=pitched,
        hours=None if pitched is None else (now - pitched).total_seconds() / 3600,
        phase=_phase(gist.events, pitched, used, onset, rest),
        points=known,
        gravity=shown.gravity if shown else None,
        gravity_sd=shown.gravity_sd if shown else None,
        original_gravity=original,
        sugar_used=used,
        sugar_left_g_l=course.sugar_g_l * (1 - used),
        alcohol_pct=float(course.alcohol_at(used)),
        temperature_c=plan.must.temperature_c if gist.temperature is None else gist.temperature,
        temperature_at=None if gist.warmth.last is None else gist.warmth.last[0],
        ph=gist.ph[1] if gist.ph else plan.must.ph,
        ph_at=gist.ph[0] if gist.ph else None,
        slope=slope_of(known, data.load("watch")["rule"]["sluggish"]["window_h"]["value"]),
        onset_h=onset,
        feeds=_feed_states(gist.feeds, plan),
        given_g=given,
        fed=fed,
        last_reading_at=shown.at if shown else None,
        later=later,
        salted_at=_salted_at(gist.feeds, plan),
        early=early_readings(points, gist.acid, pitched),
    )


def rest_at(events: Sequence[Standing]) -> datetime | None:
    """When a finishing step made readings those of a different mead; None before."""
    return next(
        (s.at for s in events if isinstance(s.what, StepDone) and s.what.ends_ferment), None
    )


def has_closed(events: Sequence[Standing]) -> bool:
    """Whether a batch is bottled or ended, by its events."""
    return any(is_event(s, *CLOSES) for s in events)


def slope_of(points: Series, window_h: float) -> Slope | None:
    """Fall of gravity over the last window, by weighted least squares; two readings at least.

    Readings less than 6 h apart in all say nothing about a day. If the window holds only one, the
    one before it is included.
    """
    after = points.from_hour(0.0)
    if len(after) < 2:
        return None
    recent = after.from_hour(float(after.hours[-1]) - window_h)
    if len(recent) < 2:
        recent = after[-2:]
    t, g, w = recent.hours / 24, recent.gravity, recent.gravity_sd**-2
    if (t[-1] - t[0]) * 24 < 6:
        return None
    middle = float(w @ t / w.sum())
    spread = float(w @ (t - middle) ** 2)
    fall = -float(w @ ((t - middle) * g)) / spread
    return Slope(fall, spread**-0.5, float(t[-1] - t[0]) * 24, len(recent))


def _phase(
    events: Sequence[Standing],
    pitched: datetime | None,
    used: float,
    onset_h: float | None,
    rest: datetime | None,
) -> str:
    if has_closed(events):
        return CLOSED
    if rest is not None:
        return FINISHING
    if pitched is None:
        return PLANNED
    if onset_h is None:
        return LAG
    if used < THIRD:
        return EARLY
    if used < 0.8:
        return MIDDLE
    return TAIL if used < 0.985 else DRY


def _onset(
    events: Sequence[Standing],
    points: Series,
    pitched: datetime | None,
) -> float | None:
    """Hours after pitch when work was first seen: a fall beyond error, or foam written down."""
    if pitched is None:
        return None
    least = 0.002 * data.load("watch")["rule"]["no_start"]["fall_brix"]["value"] / 0.5
    after = points.past_hour(0.0)
    fell = after.original_gravity - after.gravity > least + PROBABLE * after.gravity_sd / 2
    seen = after.hours[fell][:1].tolist()
    seen += [
        (s.at - pitched).total_seconds() / 3600
        for s in events
        if is_event(s, "foamed_over") and s.at > pitched
    ]
    return min(seen) if seen else None


def _feed_states(stands: Sequence[Standing], plan: BatchPlan) -> tuple[FeedState, ...]:
    given = {
        s.what.feed: s for s in stands if isinstance(s.what, FeedGiven) and s.what.feed is not None
    }
    states = []
    for feed in plan.feeds:
        stand = given.get(feed.key)
        if stand is not None:
            grams = sum(item.grams for item in stand.what.items)
            state = "skipped" if stand.what.skipped else "given"
            states.append(FeedState(feed, state, stand.at, grams))
        elif feed.dropped or not feed.doses:
            states.append(FeedState(feed, "dropped"))
        else:
            states.append(FeedState(feed, "ahead"))
    return tuple(states)


def _given(
    stands: Sequence[Standing],
    plan: BatchPlan,
    points: Series,
    pitched: datetime | None,
) -> tuple[dict[str, float], tuple[FedNitrogen, ...]]:
    grams: dict[str, float] = {}
    fed = []
    for stand in stands:
        if not isinstance(stand.what, FeedGiven) or not stand.what.items:
            continue
        ammonium = amino = 0.0
        for item in stand.what.items:
            grams[item.nutrient] = grams.get(item.nutrient, 0.0) + item.grams
            jar = plan.jar(item.nutrient)
            if jar is not None:
                ammonium += item.grams * jar.mg_g.get("ammonium_n", 0.0) / plan.must.volume_l
                amino += item.grams * jar.mg_g.get("amino_n", 0.0) / plan.must.volume_l
        hours = 0.0 if pitched is None else (stand.at - pitched).total_seconds() / 3600
        fed.append(FedNitrogen(hours, used_at(points, hours), ammonium, amino))
    return grams, tuple(fed)


def _salted_at(stands: Sequence[Standing], plan: BatchPlan) -> datetime | None:
    """When a feed last held a salt that lifts pH, by its kind or that of its jar."""
    salts = set(BUFFERS) | {jar.id for jar in plan.jars if jar.class_id in BUFFERS}
    return max(
        (s.at for s in stands if isinstance(s.what, FeedGiven)
         and any(item.nutrient in salts for item in s.what.items)),
        default=None,
    )  # fmt: skip


def used_at(points: Series, hours: float) -> float:
    """Fraction of the sugar gone at an hour, between readings; the nearest one outside them."""
    after = points.from_hour(0.0)
    if not after:
        return 0.0
    return float(np.interp(hours, [0.0, *after.hours.tolist()], [0.0, *after.used.tolist()]))


def salt_ahead(now: Progress) -> tuple[PlannedPart, ...]:
    """Parts of the plan's salt whose moment no pH reading has met.

    None once any salt went in, or the sugar is past where the plan feeds: a low pH is then for the
    watch on the readings.
    """
    salt = now.plan.salt
    if salt is None or now.salted_at is not None or now.sugar_used > now.plan.last_moment:
        return ()
    return tuple(part for part in salt.parts if not _is_met(now, part))


def _is_met(now: Progress, part: PlannedPart) -> bool:
    if now.ph_at is None or now.pitched is None or now.ph_at < now.pitched:
        return False
    hours = (now.ph_at - now.pitched).total_seconds() / 3600
    if part.rule.kind in ("pitch", "onset"):
        return hours >= (now.onset_h or 0.0)
    return used_at(now.points, hours) >= part.sugar_used - NEAR_ENOUGH
