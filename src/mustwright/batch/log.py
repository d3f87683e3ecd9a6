"""How do things stand: the log folded into entries with their corrections and removals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from mustwright.batch.entries import (
    Correction,
    Entry,
    Event,
    PlanAdopted,
    Reading,
    Removal,
    Restoration,
    what_from,
)
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.plan import BatchPlan


@dataclass(frozen=True)
class Standing:
    """An entry as it stands today.

    Parameters
    ----------
    entry : Entry
        As first written.
    at : datetime
        When it happened, as corrected.
    what : Reading or FeedGiven or Event or Note or Photo or PlanAdopted
        As corrected.
    removed : bool
    version : int
        Place in the log of its latest change; its own place when it has none.
    changes : tuple of Entry
        Corrections, removals and restorations, oldest first.
    """

    entry: Entry
    at: datetime
    what: Any
    removed: bool
    version: int
    changes: tuple[Entry, ...] = ()


def standing(log: Sequence[Entry]) -> tuple[Standing, ...]:
    """Every entry as it stands, removed ones too, in the order in which they happened."""
    found: dict[str, Standing] = {}
    for entry in log:
        what = entry.what
        if not isinstance(what, (Correction, Removal, Restoration)):
            found[entry.id] = Standing(entry, entry.at, what, False, entry.seq)
            continue
        old = found.get(what.target)
        if old is None:
            continue
        new = replace(old, version=entry.seq, changes=(*old.changes, entry))
        if isinstance(what, Correction):
            now = what_from(old.entry.what.kind, what.after, "after")
            new = replace(new, at=what.at_after, what=now)
        else:
            new = replace(new, removed=isinstance(what, Removal))
        found[what.target] = new
    return tuple(sorted(found.values(), key=lambda s: (s.at, s.entry.seq)))


def counting(log: Sequence[Entry]) -> tuple[Standing, ...]:
    """Entries that count: as they stand, without the removed ones."""
    return tuple(one for one in standing(log) if not one.removed)


def plan_in_force(stands: Sequence[Standing]) -> BatchPlan | None:
    """The latest plan that counts."""
    plans = [s for s in stands if isinstance(s.what, PlanAdopted) and not s.removed]
    return max(plans, key=lambda s: s.entry.seq).what.plan if plans else None


def plans(stands: Sequence[Standing]) -> tuple[Standing, ...]:
    """Every plan the batch ever had, oldest first."""
    found = [s for s in stands if isinstance(s.what, PlanAdopted)]
    return tuple(sorted(found, key=lambda s: s.entry.seq))


def pitched_at(stands: Sequence[Standing]) -> datetime | None:
    """When the yeast went in, if it did."""
    return next((s.at for s in stands if is_event(s, "pitched")), None)


def is_event(stand: Standing, *names: str) -> bool:
    """Whether it is an event of one of these names that counts, or a finishing step that is one."""
    what = stand.what
    if stand.removed:
        return False
    return (isinstance(what, Event) and what.what in names) or (
        isinstance(what, StepDone) and what.event in names
    )


def readings(stands: Sequence[Standing]) -> tuple[Standing, ...]:
    """Readings that count."""
    return tuple(s for s in stands if isinstance(s.what, Reading) and not s.removed)


def to_undo(log: Sequence[Entry]) -> Entry | None:
    """The latest entry that undo would take back: not an undo itself, and not undone already."""
    undone = {undoes for entry in log if (undoes := getattr(entry.what, "undoes", None))}
    for entry in reversed(log):
        if getattr(entry.what, "undoes", None) is None and entry.id not in undone:
            if isinstance(entry.what, PlanAdopted) and entry.what.plan.number == 1:
                continue  # without its first plan there is no batch
            return entry
    return None


def undoing(log: Sequence[Entry], entry: Entry) -> Correction | Removal | Restoration:
    """What takes an entry back."""
    what = entry.what
    if isinstance(what, Correction):
        now = next(s for s in standing(log) if s.entry.id == what.target)
        from mustwright.batch.entries import what_data

        return Correction(
            what.target, now.at, what.at_before, what_data(now.what), what.before, entry.id
        )
    if isinstance(what, Removal):
        return Restoration(what.target, entry.id)
    if isinstance(what, Restoration):
        return Removal(what.target, "undone", entry.id)
    return Removal(entry.id, "undone", entry.id)
