"""Batches for tests: a plan, and a log that is easy to write."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import cache

from mustwright.batch.entries import Entry, Event, PlanAdopted, Reading
from mustwright.batch.log import standing
from mustwright.batch.outlook import PaceOutlook
from mustwright.batch.plan import BatchPlan
from mustwright.batch.progress import Progress, progress
from mustwright.services.batch.record import plan_of

PITCHED = datetime(2031, 5, 1, 18, tzinfo=UTC)
STRONG = """
[must]
volume = "19 L"
temperature = "20 C"
[measured]
gravity = "1.120"
[yeast]
kind = "low-demand neutral"
amount = "8 g"
[shelf]
dap = {}
autolysed_yeast = {}
complex_blend = {}
[legal]
profile = "us"
"""
CLOVER = STRONG.replace(
    '[measured]\ngravity = "1.120"',
    'gravity = "1.100"\n[[must.ingredient]]\nkind = "clover honey"\namount = "solve"\n'
    '[[must.ingredient]]\nkind = "water"\namount = "fill"',
).replace('"us"', '"home"')
WEAK = STRONG.replace("1.120", "1.050")


@cache
def plan(sheet: str = STRONG, protocol: str = "staged_for_strong_musts") -> BatchPlan:
    return plan_of(sheet, protocol, {})


class Log:
    """A log written by hours after pitch."""

    def __init__(self, of: BatchPlan | None = None, *, pitched: bool = True) -> None:
        self.entries: list[Entry] = []
        self.add(0, PlanAdopted(of or plan()))
        if pitched:
            self.add(0, Event("pitched"))

    def add(self, hours: float, what, id: str | None = None) -> Entry:
        seq = len(self.entries) + 1
        at = PITCHED + timedelta(hours=hours)
        self.entries.append(Entry(id or f"e{seq}", at, "test", what, seq, at))
        return self.entries[-1]

    def read(self, hours: float, gravity: float, **more) -> Entry:
        return self.add(hours, Reading(gravity=gravity, **more))

    def stands(self):
        return standing(self.entries)

    def at(self, hours: float) -> Progress:
        return progress(self.stands(), PITCHED + timedelta(hours=hours))

    def outlook(self, hours: float) -> PaceOutlook:
        return PaceOutlook(self.at(hours))
