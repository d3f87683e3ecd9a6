"""How does the batch stand: the one assessment that page, command, list, calendar and bench read.

From the log: what the vessel holds and how surely, how far the ferment is, whether it has stopped
short or is at its end, how old each piece of knowledge is, and what was done last.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from mustwright import data
from mustwright.batch import progress as phases
from mustwright.batch.end_gravity import EndGravity, end_gravity
from mustwright.batch.entries import EVENTS, Event
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.log import Standing, is_event
from mustwright.batch.outlook import BatchOutlook, PaceOutlook
from mustwright.batch.progress import Progress
from mustwright.batch.quantiles import Quantiles
from mustwright.batch.rest_or_fall import (
    SugarPosterior,
    at_its_limit,
    by_gravity,
    unseen,
    untested,
    weigh,
)
from mustwright.batch.restart_course import (
    COMBINED,
    GIVEN_UP,
    STARTER,
    TAKEN,
    RestartCourse,
    restart_course,
)
from mustwright.batch.series import Series
from mustwright.batch.stability import mixed_at
from mustwright.batch.vessel import VesselContents, vessel
from mustwright.texts import say

NOT_PITCHED, WAITING, STARTED, WORKING, SLOWING, AT_END, STOPPED, FINISHED, BOTTLED, ENDED = (
    say("not pitched", context="phase"), say("waiting", context="phase"),
    say("started", context="phase"), say("working", context="phase"),
    say("slowing", context="phase"), say("at its end", context="phase"),
    say("stopped short", context="phase"), say("finished", context="phase"),
    say("bottled", context="phase"), say("ended", context="phase"),
)  # fmt: skip
FERMENTS = (WAITING, STARTED, WORKING, SLOWING)
OVER = (AT_END, FINISHED, BOTTLED, ENDED)  # nothing is fed any more
STALE_AS: dict[str, str] = {
    WAITING: "waiting", SLOWING: "slowing", AT_END: "at_end", FINISHED: "at_end",
}  # fmt: skip
ROSE = 0.0015  # of gravity, from which what went in counts as sugar (assumed: a reading's error)
TESTED_ERROR = 0.1  # of a sugar test (assumed)


@dataclass(frozen=True)
class KnowledgeAge:
    """How long ago each thing was last read; None if it never was [h]."""

    gravity_h: float | None
    temperature_h: float | None
    ph_h: float | None


@dataclass(frozen=True)
class Done:
    """Something that was done to the batch, and when."""

    at: datetime
    name: str
    words: str


@dataclass(frozen=True)
class Assessment:
    """A batch at one moment, as everything that speaks of it has it.

    Parameters
    ----------
    phase : str
        One of the names above.
    sugar_left_g_l : Quantiles
        Fermentable sugar left now [g/L].
    fall_per_day : Quantiles or None
        Of gravity, by the latest readings; None before any [1/day].
    chance_stopped_short, chance_finished : float
        That it rests with more sugar left than counts, and with less; at its yeast's limit of
        alcohol a rest counts as finished.
    stood_h, stood_count : float, int
        How long the latest readings show no fall, and how many they are [h].
    end : EndGravity
        Where this must may end.
    held : VesselContents
        Volume, gravity, alcohol, pH, sulfite and the rest.
    ages : KnowledgeAge
    is_stale : bool
        Whether the last reading of gravity is too old to act on.
    restart : RestartCourse or None
        The latest restart that was begun.
    last_done : Done or None
        The latest event or finishing step.
    sugar_g_l : float
        Fermentable sugar at pitch [g/L].
    """

    phase: str
    sugar_left_g_l: Quantiles
    fall_per_day: Quantiles | None
    chance_stopped_short: float
    chance_finished: float
    stood_h: float
    stood_count: int
    end: EndGravity
    held: VesselContents
    ages: KnowledgeAge
    is_stale: bool
    restart: RestartCourse | None
    last_done: Done | None
    sugar_g_l: float

    @property
    def knowledge_age_h(self) -> float | None:
        """Age of the latest reading of gravity [h]."""
        return self.ages.gravity_h

    @property
    def gravity(self) -> float | None:
        """Apparent, of what is in the vessel [-]."""
        return self.held.gravity

    @property
    def alcohol_pct(self) -> float:
        """Of what is in the vessel [% vol]."""
        return self.held.alcohol_pct

    @property
    def used(self) -> float:
        """Middle of the fraction of sugar that is gone, 0 to 1."""
        return 1 - min((self.sugar_left_g_l.p50 or 0.0) / max(self.sugar_g_l, 1e-9), 1.0)

    @property
    def may_have_stopped(self) -> bool:
        """Whether a stop is likely enough to ask about, but not sure."""
        likely = self.chance_stopped_short >= belief("perhaps_stopped")
        return likely and self.phase != STOPPED and self.phase not in (BOTTLED, ENDED)

    @property
    def days_to_end(self) -> tuple[float, float] | None:
        """Days until less sugar is left than counts, at the pace of the latest readings [d].

        The pace stays in proportion to the sugar left; from the upper to the lower quartile of it.
        None where nothing falls.
        """
        counts = float(data.load("watch")["rule"]["stuck"]["sugar_left_g_l"]["value"])
        left, fall = self.sugar_left_g_l.p50 or 0.0, self.fall_per_day
        if fall is None or not fall.p25 or not fall.p75 or left <= counts:
            return None
        height = left / self.end.sugar_per_gravity
        longest, shortest = (math.log(left / counts) * height / f for f in (fall.p25, fall.p75))
        return shortest, longest

    @property
    def is_unknown(self) -> bool:
        """Whether nothing was read since the pitch, and that for too long to say anything."""
        return self.is_stale and self.ages.gravity_h is None

    @property
    def is_over(self) -> bool:
        """Whether nothing is fed any more."""
        return self.phase in OVER


def belief(name: str) -> float:
    """A figure of ``[rest]`` in ``data/watch.toml``."""
    return float(data.load("watch")["rest"][name]["value"])


def assess(
    now: Progress, events: Sequence[Standing] = (), outlook: BatchOutlook | None = None
) -> Assessment:
    """How a batch stands.

    Parameters
    ----------
    now : Progress
    events : sequence of Standing
        Events and finishing steps that count, in the order of time.
    outlook : BatchOutlook or None
        For what no reading tells; None takes the usual pace.
    """
    events = [s for s in events if s.at <= now.now and not s.removed]
    end = end_gravity(now.plan.must, now.original_gravity)
    held = vessel(now, events)
    restart = restart_course(now, events)
    found = _posterior(now, events, end, held, outlook, restart)
    found = _tested(found, held, now)
    if restart is None and held.alcohol_pct >= now.plan.yeast.tolerance_pct:
        found = at_its_limit(found)
    if now.phase == phases.FINISHING and not _is_kept(found, held):
        found = replace(found, chance_finished=0.0)
    ages = _ages(now)
    made = Assessment(
        "",
        found.sugar_left_g_l,
        found.fall_per_day if now.points.past_hour(0.0) else None,
        found.chance_stopped_short,
        found.chance_finished,
        found.stood_h,
        found.count,
        end,
        held,
        ages,
        False,
        restart,
        _last_done(events),
        end.sugar_g_l,
    )
    gone = 1 - found.left_when_read_g_l / max(end.sugar_g_l, 1e-9)
    made = replace(made, phase=_phase(made, now, events, gone))
    if made.phase in (AT_END, FINISHED) and held.residual_sugar_g_l is None and made.gravity:
        made = replace(made, sugar_left_g_l=untested(found.sugar_left_g_l, made.gravity, end))
    if made.phase == WAITING:  # what has not begun cannot have stopped
        made = replace(made, chance_stopped_short=0.0)
    return replace(made, is_stale=_is_stale(made, now))


# Sugar and pace ---------------------------------------------------------------------------------


def _posterior(
    now: Progress,
    events: Sequence[Standing],
    end: EndGravity,
    held: VesselContents,
    outlook: BatchOutlook | None,
    restart: RestartCourse | None,
) -> SugarPosterior:
    if now.phase == phases.FINISHING:
        return _finishing(now, end, held)
    series = _one_liquid(now, events)
    odds = 1.0
    if restart is not None and restart.state != STARTER:
        since = series[series.until(restart.since) :]
        if len(since) >= 2:
            taken = restart.state == TAKEN
            series, odds = since, 1.0 if taken else belief("restarted_odds")
    if not series or now.pitched is None:
        return _unread(now, end, outlook)
    age_h = (now.now - series[-1].at).total_seconds() / 3600
    return weigh(series, end, now.temperature_c, age_h, odds)


def _one_liquid(now: Progress, events: Sequence[Standing]) -> Series:
    """Readings since the pitch, and since something with sugar last went in, if any was then."""
    after = now.points.past_hour(0.0)
    mixed = mixed_at(events)
    if mixed is None:
        return after
    since = after[after.until(mixed) :]
    return since if since else after


def _unread(now: Progress, end: EndGravity, outlook: BatchOutlook | None) -> SugarPosterior:
    """By the forecast alone: before the first reading, and before the pitch."""
    if now.pitched is None or now.hours is None or now.hours <= 0:
        whole = end.sugar_g_l
        return SugarPosterior(_all(whole), _all(0.0), 0.0, 0.0, whole, 0.0, 0)
    band = (outlook or PaceOutlook(now)).band([now.hours])
    steps = (band.low[0], band.expected[0], band.high[0])
    low, middle, high = (
        float(np.clip(end.sugar_per_gravity * (g - end.middle), 0.0, end.sugar_g_l)) for g in steps
    )
    spread = Quantiles(low, (low + middle) / 2, middle, (middle + high) / 2, high)
    if now.hours > belief("stale_waiting_h"):
        spread = unseen(end.sugar_g_l, now.hours / 24 - 1)
    return SugarPosterior(spread, _all(0.0), 0.0, 0.0, middle, 0.0, 0)


def _finishing(now: Progress, end: EndGravity, held: VesselContents) -> SugarPosterior:
    """Once it was sweetened or blended: what was left, or what a gravity that rose stands for.

    A mead that was blended in brings sugar that nobody tested: all of it may ferment.
    """
    before = now.points.past_hour(0.0)
    found = weigh(before, end, now.temperature_c, 0.0) if before else _unread(now, end, None)
    found = replace(found, chance_stopped_short=0.0, chance_finished=1.0)
    level = float(before.gravity[-1]) if before else end.middle
    if held.gravity is None or held.gravity <= level + ROSE:
        return found
    return replace(found, sugar_left_g_l=by_gravity(held.gravity, end))


def _tested(found: SugarPosterior, held: VesselContents, now: Progress) -> SugarPosterior:
    """A sugar test, and what sweetening put in, are known better than any balance."""
    known = held.residual_sugar_g_l
    if known is None:
        return found
    error = max(TESTED_ERROR * known, 0.3)
    left = Quantiles(*(max(known + error * z, 0.0) for z in (-1.645, -0.674, 0, 0.674, 1.645)))
    if now.phase == phases.FINISHING:
        return replace(found, sugar_left_g_l=left)
    rests = found.chance_stopped_short + found.chance_finished
    counts = known > float(data.load("watch")["rule"]["stuck"]["sugar_left_g_l"]["value"])
    return replace(
        found,
        sugar_left_g_l=left,
        left_when_read_g_l=known,
        chance_stopped_short=rests if counts else 0.0,
        chance_finished=0.0 if counts else rests,
    )


def _is_kept(found: SugarPosterior, held: VesselContents) -> bool:
    """Whether a finished mead holds no sugar that counts, or the log says what keeps yeast off."""
    counts = float(data.load("watch")["rule"]["stuck"]["sugar_left_g_l"]["value"])
    return (found.sugar_left_g_l.p95 or 0.0) <= counts or held.stabilised not in ("", "no")


def _all(value: float) -> Quantiles:
    return Quantiles(value, value, value, value, value)


# Phase ------------------------------------------------------------------------------------------


def _phase(made: Assessment, now: Progress, events: Sequence[Standing], gone: float) -> str:
    if now.phase == phases.CLOSED:
        return BOTTLED if any(is_event(s, "bottled") for s in events) else ENDED
    if now.phase == phases.PLANNED:
        return NOT_PITCHED
    if now.phase == phases.FINISHING:
        return FINISHED
    if now.phase == phases.LAG:
        return WAITING
    if _is_stopped(made):
        return STOPPED
    stood = made.stood_h >= belief("finished_h")
    if made.chance_finished >= belief("sure_finished") and stood:
        return FINISHED
    return _by_sugar(made, events, gone)


def _is_stopped(made: Assessment) -> bool:
    waits = made.restart is not None and made.restart.state in (COMBINED, GIVEN_UP)
    if waits and made.chance_finished < belief("perhaps_stopped"):
        return True  # until it is seen to fall again
    likely = made.chance_stopped_short >= belief("sure_stopped")
    return likely and made.stood_h >= belief("borne_out_h")


def _by_sugar(made: Assessment, events: Sequence[Standing], gone: float) -> str:
    """By the sugar that was gone when it was last read: what happened since was not seen."""
    counts = float(data.load("watch")["rule"]["stuck"]["sugar_left_g_l"]["value"])
    left = (1 - gone) * made.sugar_g_l
    perhaps = made.chance_stopped_short >= belief("perhaps_stopped")
    judged = any(is_event(s, "dry") for s in events) and not perhaps
    if left <= counts or judged:
        return AT_END
    if gone >= belief("slowing_from") or perhaps:
        return SLOWING
    return STARTED if gone < belief("started_until") else WORKING


def _is_stale(made: Assessment, now: Progress) -> bool:
    """Whether the last reading, or the pitch where there is none, is too long ago."""
    if made.phase in (NOT_PITCHED, BOTTLED, ENDED) or now.hours is None:
        return False
    limit = belief(f"stale_{STALE_AS.get(made.phase, 'working')}_h")
    age = made.ages.gravity_h
    if made.phase == STOPPED:
        limit = max(limit, made.stood_h)  # a stand speaks for as long again
    return min(age if age is not None else now.hours, now.hours) > limit


# What is known, and what was done ---------------------------------------------------------------


def _ages(now: Progress) -> KnowledgeAge:
    def age(at: datetime | None) -> float | None:
        return None if at is None else max((now.now - at).total_seconds() / 3600, 0.0)

    return KnowledgeAge(age(now.last_reading_at), age(now.temperature_at), age(now.ph_at))


def _last_done(events: Sequence[Standing]) -> Done | None:
    for stand in reversed(events):
        what = stand.what
        if isinstance(what, StepDone):
            return Done(stand.at, what.event or what.step, what.title)
        if isinstance(what, Event):
            return Done(stand.at, what.what, EVENTS[what.what])
    return None
