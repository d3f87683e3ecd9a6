"""When will it get there: the forecast a batch is followed with, behind one small interface.

`PaceOutlook` bends the usual pace to the readings, at once and for any batch;
`kinetic_outlook.KineticOutlook` answers the same three questions from the fermentation model, which
takes a moment to work out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from mustwright.batch.corrected_readings import must_course
from mustwright.batch.progress import Progress, used_at
from mustwright.batch.series import Series
from mustwright.kinetics.pace import BAND, usual_pace
from mustwright.must.course import Floats
from mustwright.nutrition.triggers import Trigger
from mustwright.texts import join, say

TWO_SIDED_90 = 1.645
NEVER_H = 24.0 * 400
FORESEEN_H = 24.0 * 120  # what lies further ahead is not foreseen


@dataclass(frozen=True)
class Span:
    """A moment with its range, in hours after pitch; about 90 % lies between low and high [h]."""

    low_h: float
    expected_h: float
    high_h: float

    @property
    def is_foreseen(self) -> bool:
        """Whether it comes at all, more likely than not."""
        return self.expected_h <= FORESEEN_H

    @property
    def has_end(self) -> bool:
        """Whether the latest moment is one; otherwise some runs never come to it."""
        return self.high_h <= FORESEEN_H


@dataclass(frozen=True)
class GravityBand:
    """Gravity over time with its range, for drawing."""

    hours: tuple[float, ...]
    low: tuple[float, ...]
    expected: tuple[float, ...]
    high: tuple[float, ...]


def due_by(
    trigger: Trigger, onset: Callable[[], Span], by_sugar: Callable[[Trigger], Span]
) -> Span:
    """When a trigger comes true: by the clock, by the onset, or as `by_sugar` has it."""
    if trigger.kind == "first_of":
        either = (due_by(one, onset, by_sugar) for one in trigger.either)
        return min(either, key=lambda span: span.expected_h)
    if trigger.kind in ("pitch", "after_pitch"):
        return Span(trigger.amount, trigger.amount, trigger.amount)
    if trigger.kind in ("onset", "after_onset"):
        start, more = onset(), trigger.amount
        return Span(start.low_h + more, start.expected_h + more, start.high_h + more)
    return by_sugar(trigger)


class BatchOutlook(Protocol):
    """What a batch asks of a forecast."""

    @property
    def name(self) -> str:
        """What it is, in a few words."""
        ...

    def due(self, trigger: Trigger) -> Span:
        """When a feed's trigger comes true."""
        ...

    def used(self, fraction: float) -> Span:
        """When a fraction (0 to 1) of the sugar is gone."""
        ...

    def band(self, hours: Sequence[float]) -> GravityBand:
        """Gravity at hours after pitch, readings included."""
        ...


class PaceOutlook:
    """The usual pace of a ferment, bent to what was read.

    Parameters
    ----------
    now : Progress
    remark : str
        Why it is used instead of the fermentation model, for the name.

    Notes
    -----
    Pace and measured fall are combined by precision on a logarithmic scale; the pace counts as
    known to a factor 1.6 either way (assumed there), the fall to its standard error. From the last
    reading on, time runs at the combined rate, half as fast in the last third as the pace has it.
    """

    def __init__(self, now: Progress, remark: str = "") -> None:
        self.state = now
        usual = say("usual pace, fitted to the readings")
        self.name = join("; ", (usual, remark)) if remark else usual
        must = now.plan.must
        early = now.plan.nitrogen.must_mg_l + max(now.fed_mg_l, 0.6 * _planned_mg_l(now))
        self.pace = usual_pace(must.brix, now.temperature_c, early, must.fermentable_share)
        self.anchor_h, self.anchor_used = anchor(now.points)
        self._anchor_pace_h = self.pace.hours_to_sugar_used(self.anchor_used).value
        self.factor, self.spread = self._combined()

    def _combined(self) -> tuple[float, float]:
        """Rate over the usual one, and the standard error of its logarithm."""
        prior_sd = math.log(BAND) / TWO_SIDED_90
        slope = self.state.slope
        usual_h = self.pace.hours_to_sugar_used(max(self.anchor_used, 0.02)).value
        if slope is None or self.anchor_used <= 0.01:
            return 1.0, prior_sd
        usual = self._usual_fall_per_day(usual_h)
        ratio = max(slope.per_day, 0.0) / usual if usual > 0 else 1.0
        ratio = min(max(ratio, 0.05), 6.0)
        sd = max(slope.sd / max(slope.per_day, slope.sd), 0.10)
        weight, own = prior_sd**-2, sd**-2
        mean = own * math.log(ratio) / (weight + own)
        return math.exp(mean), (weight + own) ** -0.5

    def _usual_fall_per_day(self, hours: float) -> float:
        span = self.state.slope.hours if self.state.slope else 24.0
        course = must_course(self.state.plan.must)
        start, end = (self.pace.sugar_used_at(h) for h in (max(hours - span, 0.0), hours))
        fall = float(course.gravity_at(start) - course.gravity_at(end))
        return fall / span * 24

    def used(self, fraction: float) -> Span:
        """When a fraction of the sugar is gone."""
        f = min(max(fraction, 0.0), 1.0)
        if self.anchor_used > 0 and f <= self.anchor_used:
            hours = crossed(self.state.points, f)
            return Span(hours, hours, hours)
        goal = self.pace.hours_to_sugar_used(f).value
        if self.anchor_used <= 0.01:  # nothing seen to fall yet: all of it is ahead, after onset
            onset = self._onset()
            fall = self._span(0.0, max(goal - self.pace.lag_h, 0.0) / self.factor)
            return Span(
                onset.low_h + fall.low_h,
                onset.expected_h + fall.expected_h,
                onset.high_h + fall.high_h,
            )
        done = self.pace.hours_to_sugar_used(self.anchor_used).value
        return self._span(self.anchor_h, (goal - done) / self.factor)

    def due(self, trigger: Trigger) -> Span:
        """When a feed's trigger comes true."""
        return due_by(trigger, self._onset, lambda one: self.used(one.sugar_used(self.pace)))

    def _onset(self) -> Span:
        if self.state.onset_h is not None:
            seen = self.state.onset_h
            return Span(seen, seen, seen)
        lag, hours = self.pace.lag_h, self.state.hours or 0.0
        return Span(max(lag / BAND, hours), max(lag, hours), max(lag * BAND, hours + 6.0))

    def _span(self, start: float, rest: float) -> Span:
        wide = math.exp(TWO_SIDED_90 * self.spread)
        return Span(
            min(start + rest / wide, NEVER_H),
            min(start + rest, NEVER_H),
            min(start + rest * wide, NEVER_H),
        )

    def band(self, hours: Sequence[float]) -> GravityBand:
        """Gravity at hours after pitch; before the last reading, the line through the readings."""
        course = must_course(self.state.plan.must, self.state.original_gravity)
        wide = math.exp(TWO_SIDED_90 * self.spread)
        asked = np.asarray(hours, dtype=float)
        fast, middle, slow = (
            course.gravity_at(self._used_at(asked, self.factor * f)).tolist()
            for f in (wide, 1.0, 1 / wide)
        )
        return GravityBand(tuple(hours), tuple(fast), tuple(middle), tuple(slow))

    def _used_at(self, hours: Floats, rate: float) -> Floats:
        if self.anchor_used <= 0.01:
            late = self._onset().expected_h - self.pace.lag_h
            used = self.pace.sugar_used_along((hours - late) * rate)
        else:
            ahead = (hours - self.anchor_h) * rate
            used = self.pace.sugar_used_along(self._anchor_pace_h + ahead)
        used[hours == self.anchor_h] = self.anchor_used
        for k in np.flatnonzero(hours < self.anchor_h):
            used[k] = used_at(self.state.points, float(hours[k]))
        return used


def anchor(points: Series) -> tuple[float, float]:
    """Hours after pitch of the last reading since, and the sugar gone by it; 0, 0 before any."""
    if not points or points.hours[-1] <= 0:
        return 0.0, 0.0
    return float(points.hours[-1]), float(points.used[-1])


def crossed(points: Series, fraction: float) -> float:
    """When the line through the readings passed a fraction [h]."""
    after = points.past_hour(0.0)
    passed = np.flatnonzero(after.used >= fraction)
    if not passed.size:
        return float(after.hours[-1]) if after else 0.0
    k = int(passed[0])
    if k == 0:
        before_h, before = 0.0, 0.0
    else:
        before_h, before = float(after.hours[k - 1]), max(float(after.used[:k].max()), 0.0)
    rise = float(after.used[k]) - before
    share = (fraction - before) / rise if rise > 0 else 1.0
    return before_h + share * (float(after.hours[k]) - before_h)


def _planned_mg_l(now: Progress) -> float:
    return sum(feed.nitrogen_mg_l for feed in now.plan.live_feeds)
