"""Which feeds of the plan must not go in any more, each by name and with its reason."""

from __future__ import annotations

from dataclasses import replace

from mustwright import data
from mustwright.batch.assessment import STOPPED, Assessment
from mustwright.batch.plan import PlannedFeed
from mustwright.batch.plan_deviation import quoted, threshold
from mustwright.batch.progress import CLOSED, FINISHING, Progress
from mustwright.nutrition.triggers import THIRD
from mustwright.texts import listed, say

AHEAD, WITHDRAWN = "ahead", "withdrawn"


def with_withdrawn(now: Progress, assessed: Assessment) -> Progress:
    """The same state with feeds that must not go in any more marked ``withdrawn``."""
    over = now.phase in (CLOSED, FINISHING)
    finished = say("it has finished fermenting")
    reasons = {s.feed.key: finished if over else _why(now, assessed, s.feed) for s in now.feeds}
    if not any(reasons[s.feed.key] for s in now.feeds if s.state == AHEAD):
        return now
    feeds = tuple(
        replace(s, state=WITHDRAWN, why=why)
        if s.state == AHEAD and (why := reasons[s.feed.key])
        else s
        for s in now.feeds
    )
    return replace(now, feeds=feeds)


def _why(now: Progress, assessed: Assessment, feed: PlannedFeed) -> str:
    """Why a feed is withdrawn; empty for one that still goes in."""
    if assessed.is_over:
        return say("the ferment is at its end")
    if assessed.phase == STOPPED:
        return say("do not feed while it has stopped")
    end = now.plan.last_moment
    if now.sugar_used > end + 1e-9:
        return say("more than {end:.0%} of the sugar is gone", end=end)
    return ammonium_too_late(now, assessed, feed)


def ammonium_too_late(now: Progress, assessed: Assessment, feed: PlannedFeed) -> str:
    """Why the ammonium salt of a feed comes too late; empty where it has none, or is in time."""
    salts = {jar.id for jar in now.plan.jars if jar.group == "ammonium"}
    if not any(d.nutrient in salts for d in feed.doses):
        return ""
    strong = float(data.load("watch")["refit"]["no_ammonium_above_pct"]["value"])
    if now.sugar_used > THIRD + threshold("passed_sugar"):
        return say(
            "{used:.0%} of the sugar is gone, and ammonium belongs in the first third",
            used=now.sugar_used,
        )
    if assessed.alcohol_pct > strong:
        return say("above {strong:g} % vol yeast takes up hardly any ammonium", strong=strong)
    return ""


def withdrawn_words(now: Progress) -> str:
    """The feeds that were withdrawn, by name, in one sentence; empty where none was."""
    gone = [s for s in now.feeds if s.state == WITHDRAWN]
    if not gone:
        return ""
    names = listed([quoted(s.feed) for s in gone])
    if len(gone) > 1:
        return say("Feeds {names} are withdrawn: {why}.", names=names, why=gone[0].why)
    return say("Feed {names} is withdrawn: {why}.", names=names, why=gone[0].why)
