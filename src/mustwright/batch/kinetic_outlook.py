"""When will it get there, by the fermentation model: a batch followed with its own forecast."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from mustwright.batch.corrected_readings import must_course
from mustwright.batch.forecast_record import Foreseen
from mustwright.batch.outlook import NEVER_H, GravityBand, Span, anchor, crossed, due_by
from mustwright.batch.progress import Progress
from mustwright.batch.quantiles import Along, Quantiles
from mustwright.batch.series import Series
from mustwright.must.gravity import gravity_from_brix
from mustwright.nutrition.triggers import Trigger
from mustwright.texts import say, say_n


class KineticOutlook:
    """The kinetic ensemble of this batch, bent to its readings.

    Parameters
    ----------
    now : Progress
    foreseen : Foreseen
        Made from the log up to now, or up to a little before.

    Notes
    -----
    What readings already show is answered from the readings: a fraction of sugar that is gone, a
    start that was seen. What lies ahead is the middle of the ensemble with its 90 % range, and
    never before the latest reading.
    """

    def __init__(self, now: Progress, foreseen: Foreseen) -> None:
        self.state = now
        self.foreseen = foreseen
        self.anchor_h, self.anchor_used = anchor(now.points)

    @property
    def name(self) -> str:
        """What it is, in a few words."""
        count = self.foreseen.readings
        if not count:
            return say("fermentation model, no reading yet")
        return say_n(
            "fermentation model, fitted to {count} reading",
            "fermentation model, fitted to {count} readings",
            count,
        )

    def used(self, fraction: float) -> Span:
        """When a fraction of the sugar is gone."""
        f = min(max(fraction, 0.0), 1.0)
        if self.anchor_used > 0 and f <= self.anchor_used:
            hours = crossed(self.state.points, f)
            return Span(hours, hours, hours)
        return self._ahead(self._at(self.foreseen.used_h, f))

    def due(self, trigger: Trigger) -> Span:
        """When a feed's trigger comes true."""
        return due_by(trigger, self._onset, lambda one: self.used(self._fraction(one)))

    def band(self, hours: Sequence[float]) -> GravityBand:
        """Gravity that would be read at hours after pitch, 90 % of it between low and high."""
        gravity, times = self.foreseen.gravity, self.foreseen.times_h
        low, middle, high = (
            _along(times, row, hours) for row in (gravity.p05, gravity.p50, gravity.p95)
        )
        return GravityBand(tuple(hours), low, middle, high)

    def gravity_band(self, hours: Sequence[float]) -> Along:
        """All five quantiles of gravity at hours after pitch."""
        times = self.foreseen.times_h
        return Along(*(_along(times, row, hours) for row in quantile_rows(self.foreseen.gravity)))

    def _fraction(self, trigger: Trigger) -> float:
        if trigger.kind == "sugar_used":
            return trigger.amount
        must = self.state.plan.must
        gravity = float(gravity_from_brix(max(must.brix - trigger.amount, -4.0)))
        return float(must_course(must).used_at_gravity(gravity))

    def _onset(self) -> Span:
        if self.state.onset_h is not None:
            seen = self.state.onset_h
            return Span(seen, seen, seen)
        return _span(self.foreseen.onset_h)

    def _ahead(self, found: Quantiles) -> Span:
        span = _span(found)
        start = self.anchor_h
        return Span(max(span.low_h, start), max(span.expected_h, start), max(span.high_h, start))

    def _at(self, rows: Along, fraction: float) -> Quantiles:
        grid = self.foreseen.fractions
        found = []
        for row in quantile_rows(rows):
            hours = [NEVER_H if h is None else h for h in row]
            at = float(np.interp(fraction, grid, hours))
            found.append(None if at >= NEVER_H or _crosses_never(row, grid, fraction) else at)
        return Quantiles(*found)


def _crosses_never(row: Sequence[float | None], grid: Sequence[float], fraction: float) -> bool:
    """Whether the end of the step that holds a fraction is never reached."""
    k = int(np.searchsorted(grid, fraction - 1e-9))
    return row[min(k, len(row) - 1)] is None


def quantile_rows(along: Along) -> tuple[tuple[float | None, ...], ...]:
    """The five rows, from the lowest to the highest."""
    return (along.p05, along.p25, along.p50, along.p75, along.p95)


def _along(
    times: Sequence[float], row: Sequence[float | None], hours: Sequence[float]
) -> tuple[float, ...]:
    """A row that holds at every time, read at other hours."""
    values = [float("nan") if v is None else v for v in row]
    return tuple(float(v) for v in np.interp(hours, times, values))


def _span(found: Quantiles) -> Span:
    low, middle, high = (NEVER_H if h is None else h for h in (found.p05, found.p50, found.p95))
    return Span(low, middle, high)


def contradicts(foreseen: Foreseen, points: Series) -> bool:
    """Whether a gravity read after the forecast was made lies outside its 90 % band."""
    last = -1.0 if foreseen.until_h is None else foreseen.until_h
    new = points.past_hour(last)
    if not new:
        return False
    low, high = (
        np.array(_along(foreseen.times_h, row, new.hours.tolist()), float)
        for row in (foreseen.gravity.p05, foreseen.gravity.p95)
    )
    return not bool(np.all((low <= new.gravity) & (new.gravity <= high)))
