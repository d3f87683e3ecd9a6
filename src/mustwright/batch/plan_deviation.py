"""Does the plan still fit what was read: sugar gone too early, lag, temperature, amounts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from mustwright import data
from mustwright.batch.outlook import BatchOutlook
from mustwright.batch.plan import PlannedFeed
from mustwright.batch.progress import LAG, Progress
from mustwright.kinetics.pace import usual_pace
from mustwright.nutrition.triggers import THIRD
from mustwright.texts import Text, capital, join, literal, say
from mustwright.unit_system import degrees

CLOCK = ("pitch", "after_pitch")


class Reason(NamedTuple):
    """Why a plan no longer fits: in a sentence, and in a few words within one."""

    sentence: str
    short: str


def _reason(words: Text) -> Reason:
    return Reason(capital(words) + ".", words)


def threshold(name: str) -> float:
    """A figure of ``[refit]`` in ``data/watch.toml``."""
    return float(data.load("watch")["refit"][name]["value"])


def planned_used(now: Progress, feed: PlannedFeed) -> float:
    """Fraction of the sugar at which a feed was to be given."""
    if feed.rule.kind in CLOCK or feed.rule.kind in ("onset", "after_onset"):
        return feed.sugar_used
    must = now.plan.must
    pace = usual_pace(
        must.brix, must.temperature_c, now.plan.nitrogen.must_mg_l, must.fermentable_share
    )
    return min(feed.rule.sugar_used(pace), max(feed.sugar_used, 0.0) or 1.0)


def passed(now: Progress, feed: PlannedFeed) -> bool:
    """Whether the sugar has run past a feed that was not given."""
    by_clock = feed.rule.kind in (*CLOCK, "onset", "after_onset")
    room = threshold("passed_sugar") * (2 if by_clock else 1)
    return now.sugar_used > planned_used(now, feed) + room


def outran(now: Progress, feeds: Sequence[PlannedFeed]) -> list[Reason]:
    """Feeds that should have been given before, and the end of feeding."""
    gone = [f for f in feeds if passed(now, f)]
    end = now.plan.last_moment
    found = []
    if gone:
        used = now.sugar_used
        late = say(
            "{used:.0%} of the sugar is gone: {names} should have been given before.",
            used=used,
            names=_named(gone),
        )
        if used >= THIRD:
            late += " " + say("That is past a third of the sugar.")
        found.append(Reason(late, say("{used:.0%} of the sugar is gone", used=used)))
    if now.sugar_used > end:
        found.append(_reason(say("past {end:.0%} of the sugar nothing more is fed", end=end)))
    return found


def lagging(now: Progress, feeds: Sequence[PlannedFeed]) -> list[Reason]:
    """Feeds by the clock while nothing works yet."""
    if now.phase != LAG or now.hours is None:
        return []
    waits = [f for f in feeds if f.rule.kind == "after_pitch" and now.hours >= f.rule.amount - 1]
    if not waits:
        return []
    return [
        _reason(
            say(
                "no sign of work {hours:.0f} h after pitch, and {names} goes by the clock",
                hours=now.hours,
                names=_named(waits),
            )
        )
    ]


def _named(feeds: Sequence[PlannedFeed]) -> Text:
    return join(", ", [quoted(f) for f in feeds])


def quoted(feed: PlannedFeed) -> Text:
    """The name of a feed as it stands in a sentence."""
    return say("'{feed}'", context="a name", feed=literal(feed.name))


def off_temperature(
    now: Progress, feeds: Sequence[PlannedFeed], outlook: BatchOutlook
) -> list[Reason]:
    """A must warmer or cooler than planned, if that moves a feed."""
    off = now.temperature_c - now.plan.must.temperature_c
    if not now.temperature_read or abs(off) < threshold("warmer_c"):
        return []
    moved = [f for f in feeds if moves(now, f, outlook)]
    if not moved:
        return []
    here, planned = (
        degrees(c, now.plan.sheet, 0) for c in (now.temperature_c, now.plan.must.temperature_c)
    )
    if off > 0:
        words = say(
            "The must is at {here}, planned were {planned}: it runs faster.",
            here=here,
            planned=planned,
        )
    else:
        words = say(
            "The must is at {here}, planned were {planned}: it runs slower.",
            here=here,
            planned=planned,
        )
    short = say("the must is at {here}, planned were {planned}", here=here, planned=planned)
    return [Reason(words, short)]


def moves(now: Progress, feed: PlannedFeed, outlook: BatchOutlook) -> bool:
    """Whether a feed falls outside the hours the plan gave for it, or a clock no longer fits.

    A feed whose hour has come by the clock is simply due.
    """
    if feed.rule.kind in CLOCK and (now.hours or 0.0) >= feed.rule.amount - 0.1:
        return False
    if feed.rule.kind == "after_pitch" and 0.02 < feed.sugar_used < 1:
        span = outlook.used(feed.sugar_used)
        return not span.low_h <= feed.rule.amount <= span.high_h
    if feed.rule.kind in CLOCK:
        return False
    return not feed.low_h <= outlook.due(feed.rule).expected_h <= feed.high_h


def overtaken(now: Progress, feed: PlannedFeed, outlook: BatchOutlook) -> bool:
    """A clock feed that would follow the sugar instead, when that sugar is gone already."""
    by_sugar = feed.rule.kind == "after_pitch" and moves(now, feed, outlook)
    return by_sugar and now.sugar_used > feed.sugar_used + threshold("passed_sugar")


def off_amounts(now: Progress) -> list[Reason]:
    """More or less nitrogen given than planned, by enough to mention."""
    given, planned = given_and_planned(now)
    total = sum(f.nitrogen_mg_l for f in now.plan.feeds if not f.dropped)
    if total <= 0 or abs(given - planned) < threshold("dose_off") * total:
        return []
    off = abs(given - planned)
    words = (
        say("{off:.0f} mg N/L more was given so far than these feeds were to bring", off=off)
        if given > planned
        else say("{off:.0f} mg N/L less was given so far than these feeds were to bring", off=off)
    )
    return [_reason(words)]


def given_and_planned(now: Progress) -> tuple[float, float]:
    """Nitrogen given so far, and what those feeds were to bring [mg N/L]."""
    planned = sum(s.feed.nitrogen_mg_l for s in now.feeds if s.state == "given")
    return now.fed_mg_l, planned
