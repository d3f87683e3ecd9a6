"""Does the clock of this machine agree with the log: if not, everything said by it is in doubt."""

from __future__ import annotations

from datetime import datetime, timedelta

from mustwright.batch.alert import Finding, finding
from mustwright.batch.clock import AHEAD
from mustwright.batch.duration_text import hours_words
from mustwright.batch.one_step import NextStep
from mustwright.texts import say

RULE = "clock"


def clock_behind(kept_at: datetime, last_at: datetime, now: datetime) -> Finding | None:
    """A finding when the log knows a later moment than the clock shows.

    Parameters
    ----------
    kept_at : datetime
        When the log last changed, by the clock at that time.
    last_at : datetime
        The latest moment that a line of it is about.
    """
    latest = max(kept_at, last_at)
    behind = latest - now
    if behind <= AHEAD:
        return None
    words = say(
        "The clock of this machine shows {now:%Y-%m-%d %H:%M} UTC, but the log "
        "knows {latest:%Y-%m-%d %H:%M} UTC, {time} later: the clock was "
        "set back, or was ahead when that was written. Lines about later moments "
        "do not count yet.",
        now=now,
        latest=latest,
        time=hours_words(behind / timedelta(hours=1)),
    )
    return finding(RULE, 100, 0.99, words)


def clock_step(found: Finding) -> NextStep:
    """What comes before everything else while the clock is wrong."""
    lead = say("Set the clock of this machine")
    return NextStep(
        "check", say("{lead}: {why}", lead=lead, why=found.evidence), lead, None, None, None,
        None, (), found.evidence, "", None, True,
    )  # fmt: skip
