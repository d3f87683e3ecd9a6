"""What comes of a batch that stands still: nothing, until it is started again."""

from __future__ import annotations

from collections.abc import Sequence

from mustwright.batch.outlook import NEVER_H, GravityBand, Span, anchor, crossed, due_by
from mustwright.batch.progress import Progress
from mustwright.nutrition.triggers import Trigger
from mustwright.texts import say

NEVER = Span(NEVER_H, NEVER_H, NEVER_H)
TWO_SIDED_90 = 1.645


class RestingOutlook:
    """Gravity stays where it was read.

    Parameters
    ----------
    now : Progress
        Of a batch that has stopped short.
    """

    name = say("fermentation has stopped: no forecast until it works again")

    def __init__(self, now: Progress) -> None:
        self.state = now
        self.anchor_h, self.anchor_used = anchor(now.points)

    def due(self, trigger: Trigger) -> Span:
        """When a feed's trigger comes true."""
        onset = self.state.onset_h
        start = NEVER if onset is None else Span(onset, onset, onset)
        return due_by(trigger, lambda: start, lambda _: NEVER)

    def used(self, fraction: float) -> Span:
        """When a fraction of the sugar is gone."""
        if self.anchor_used > 0 and fraction <= self.anchor_used:
            hours = crossed(self.state.points, fraction)
            return Span(hours, hours, hours)
        return NEVER

    def band(self, hours: Sequence[float]) -> GravityBand:
        """The level of the latest readings, with the error of one."""
        level = self.state.points.gravity[-3:].mean()
        spread = TWO_SIDED_90 * float(self.state.points.gravity_sd[-1])
        count = len(hours)
        low, middle, high = (float(level + d) for d in (-spread, 0.0, spread))
        return GravityBand(tuple(hours), (low,) * count, (middle,) * count, (high,) * count)
