"""Has the moment of a feed come, by the readings and the clock; and which feed is next."""

from __future__ import annotations

from mustwright.batch.corrected_readings import must_course
from mustwright.batch.outlook import BatchOutlook, Span
from mustwright.batch.plan import PlannedFeed
from mustwright.batch.progress import Progress
from mustwright.must.gravity import gravity_from_brix
from mustwright.nutrition.triggers import Trigger


def next_feed(now: Progress, outlook: BatchOutlook) -> tuple[PlannedFeed, Span] | None:
    """The open feed to give next: the first that is due, else the first of the plan."""
    spans = [(s.feed, outlook.due(s.feed.rule)) for s in now.feeds if s.state == "ahead"]
    due = [pair for pair in spans if is_due(now, pair[0].rule, pair[1])]
    return next(iter(due or spans), None)


def hours_of_feeds_passed(now: Progress) -> bool:
    """Whether the plan expected even the latest of its open feeds before now."""
    latest = max((s.feed.high_h for s in now.feeds if s.state == "ahead"), default=0.0)
    return (now.hours or 0.0) > latest


def is_due(now: Progress, trigger: Trigger, span: Span) -> bool:
    """Whether a trigger has come true by the readings and the clock."""
    assert now.hours is not None
    if trigger.kind == "first_of":
        return any(is_due(now, t, span) for t in trigger.either)
    if trigger.kind in ("pitch", "after_pitch"):
        return now.hours >= trigger.amount
    if trigger.kind in ("onset", "after_onset"):
        return now.onset_h is not None and now.hours >= now.onset_h + trigger.amount
    return bool(now.points) and now.sugar_used >= trigger_used(now, trigger) - 0.01


def trigger_used(now: Progress, trigger: Trigger) -> float:
    """Fraction of the sugar at which a sugar or gravity trigger comes true; 1 for others."""
    if trigger.kind == "sugar_used":
        return trigger.amount
    gravity = trigger_gravity(now, trigger)
    course = must_course(now.plan.must)
    return 1.0 if gravity is None else float(course.used_at_gravity(gravity))


def trigger_gravity(now: Progress, trigger: Trigger) -> float | None:
    """The hydrometer's gravity at which a trigger comes true, if gravity is what it waits for."""
    if trigger.kind == "sugar_used":
        return float(must_course(now.plan.must).gravity_at(trigger.amount))
    if trigger.kind == "gravity_drop":
        return float(gravity_from_brix(max(now.plan.must.brix - trigger.amount, -4.0)))
    if trigger.kind == "first_of":
        found = [g for t in trigger.either if (g := trigger_gravity(now, t)) is not None]
        return max(found, default=None)
    return None
