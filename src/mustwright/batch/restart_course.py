"""How does the restart of a batch go: starter set up, doubled, combined; whether it has taken."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from mustwright import data
from mustwright.batch.log import Standing, is_event
from mustwright.batch.progress import Progress

STARTER, COMBINED, TAKEN, GIVEN_UP = "starter", "combined", "taken", "given up"
BEGUN, DOUBLED, JOINED = "restart_begun", "restart_doubled", "restarted"


@dataclass(frozen=True)
class RestartCourse:
    """A restart that was written down.

    Parameters
    ----------
    state : str
        ``starter``, ``combined``, ``taken`` or ``given up``.
    since : datetime
        Of its latest step.
    doublings : int
        How often the starter was doubled.
    level : float or None
        Gravity from which a fall counts, once it was combined [-].
    give_up_at : datetime or None
        When to stop waiting, once it was combined.
    """

    state: str
    since: datetime
    doublings: int
    level: float | None = None
    give_up_at: datetime | None = None


def restart_course(now: Progress, events: Sequence[Standing]) -> RestartCourse | None:
    """The latest restart of the log; None where none was begun.

    Notes
    -----
    It has taken once two readings since it was combined differ by the fall of ``[restart]`` in
    ``data/watch.toml``, and is given up when none is seen for `give_up_days`.
    """
    steps = [s for s in events if s.at <= now.now and is_event(s, BEGUN, DOUBLED, JOINED)]
    if not steps:
        return None
    joined = max((s.at for s in steps if is_event(s, JOINED)), default=None)
    begun = max((s.at for s in steps if is_event(s, BEGUN)), default=steps[0].at)
    doublings = sum(is_event(s, DOUBLED) and s.at >= begun for s in steps)
    if joined is None or joined < begun:
        return RestartCourse(STARTER, steps[-1].at, doublings)
    record = data.load("watch")["restart"]
    since = now.points[now.points.until(joined) :]
    give_up = joined + timedelta(days=float(record["give_up_days"]["value"]))
    level = float(since.gravity.max()) if since else now.gravity
    fell = (
        len(since) >= 2
        and level is not None
        and (level - float(since.gravity[-1]) >= float(record["taken_fall"]["value"]) - 1e-9)
    )
    state = TAKEN if fell else GIVEN_UP if now.now >= give_up else COMBINED
    return RestartCourse(state, joined, doublings, level, give_up)
