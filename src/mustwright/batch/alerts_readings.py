"""Can the latest gravity be so: rules on a reading in doubt."""

from __future__ import annotations

import math
from collections.abc import Sequence

from mustwright.batch.alert import Finding, finding, threshold
from mustwright.batch.corrected_readings import Point
from mustwright.batch.entries import ADDS_SUGAR
from mustwright.batch.log import Standing, is_event
from mustwright.batch.progress import Progress
from mustwright.must.gravity_text import gravity_step, gravity_text
from mustwright.texts import Text, say


def rising(now: Progress, stands: Sequence[Standing]) -> Finding | None:
    """Gravity went up by more than the instruments err, and nothing with sugar went in."""
    if len(now.points) < 2 or now.points.hours[-2] < 0:
        return None
    before, last = now.points[-2:]
    if any(before.at <= s.at <= last.at and is_event(s, *ADDS_SUGAR) for s in stands):
        return None
    rise = last.gravity - before.gravity
    sd = math.hypot(before.gravity_sd, last.gravity_sd)
    least = threshold("gravity_rising", "least_rise")
    if rise < max(threshold("gravity_rising", "rise_sds") * sd, least):
        return None
    words = say(
        "{gravity} after {before}: up by {step}, {times:.1f} times the error of two readings, "
        "and no addition is recorded.",
        gravity=gravity_text(last.gravity),
        before=gravity_text(before.gravity),
        step=gravity_step(rise, last.gravity),
        times=rise / sd,
    )
    sure = 1 - 0.5 * math.erfc(rise / sd / math.sqrt(2))
    why = say(
        "{gravity} after {before}, and no addition is recorded",
        gravity=gravity_text(last.gravity),
        before=gravity_text(before.gravity),
    )
    return finding("gravity_rising", 60, sure, words, why=why)


def implausible(now: Progress, _stands: Sequence[Standing]) -> Finding | None:
    """The latest gravity is outside of what the must can read, or fell faster than any ferment."""
    after = now.points.past_hour(0.0)
    if not after:
        return None
    last = after[-1]
    why = _outside(now, last) or _too_fast(now, after)
    if why is None:
        return None
    return finding("implausible", 65, 0.9, why + ".", why=why)


def _outside(now: Progress, last: Point) -> Text | None:
    read = gravity_text(last.gravity)
    room = threshold("implausible", "above_start") + 2 * last.gravity_sd
    if last.gravity > last.original_gravity + room:
        return say(
            "{read} is above the gravity at pitch, {gravity}",
            read=read,
            gravity=gravity_text(last.original_gravity),
        )
    if last.gravity < now.plan.must.dry_gravity - room:
        return say(
            "{read} is below what a dry mead would read, {gravity}",
            read=read,
            gravity=gravity_text(now.plan.must.dry_gravity),
        )
    return None


def _too_fast(now: Progress, after: Sequence[Point]) -> Text | None:
    last = after[-1]
    before_h, before = 0.0, now.plan.must.gravity
    sd = last.gravity_sd
    if len(after) > 1:
        before_h, before = after[-2].hours, after[-2].gravity
        sd = math.hypot(sd, after[-2].gravity_sd)
    days = max(last.hours - before_h, 0.5) / 24
    most = (
        threshold("implausible", "fastest_per_day") * days
        + threshold("implausible", "off_sds") * sd
    )
    if before - last.gravity > most:
        fallen = gravity_step(before - last.gravity, (before + last.gravity) / 2)
        return say(
            "{read} is {fallen} lower than the one {hours:.0f} h before",
            read=gravity_text(last.gravity),
            fallen=fallen,
            hours=24 * days,
        )
    return None
