"""Two batches side by side: their sheets, their logs, and what each difference would do alone."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from mustwright.batch.entries import EVENTS, Event
from mustwright.batch.kinetic_inputs import KineticCase, case_of
from mustwright.batch.log import Standing
from mustwright.batch.progress import Progress, progress_of
from mustwright.batch.view import BatchRecord
from mustwright.errors import InputError
from mustwright.learning.differences import (
    BatchComparison,
    BatchDifference,
    compare_batches,
    comparison_sentences,
)
from mustwright.planning.likeness import likeness_of
from mustwright.services.batch.cache import memory_of
from mustwright.services.batch.repository import Ledger
from mustwright.texts import join, say, unchanged
from mustwright.unit_system import short_volume

QUIET_EVENTS = ("pitched", "bottled", "ended")  # every batch has them


def beside(
    ledger: Ledger, a: str, b: str, now: datetime
) -> tuple[BatchRecord, BatchRecord, BatchComparison]:
    """Compare two batches by their short names.

    Raises
    ------
    InputError, ImpossibleError
        Where a must cannot be forecast, or both are the same batch.
    MissingRecordError
    """
    if a == b:
        raise InputError("B", say("needs another batch than A"), b)
    one, other = _opened(ledger, a, now), _opened(ledger, b, now)
    plain = _plain_differences(one, other)
    found = compare_batches((one[1], one[3]), (other[1], other[3]), plain)
    return one[0], other[0], found


_Opened = tuple[BatchRecord, Progress, Sequence[Standing], KineticCase]


def _opened(ledger: Ledger, slug: str, now: datetime) -> _Opened:
    record = ledger.batch(slug)
    memory = memory_of(ledger)
    state = progress_of(memory.gist(ledger, record), now)
    live = [s for s in memory.stands(ledger, record) if not s.removed]
    return record, state, live, case_of(state, live)


def _plain_differences(one: _Opened, other: _Opened) -> tuple[BatchDifference, ...]:
    """What differs that the model does not know, or knows only by what it does."""
    said = [(_said(one), _said(other))]
    return tuple(
        BatchDifference(what, first[what], second[what], None, None)
        for first, second in said
        for what in first
        if first[what] != second[what]
    )


def _said(opened: _Opened) -> dict[str, str]:
    _, state, live, case = opened
    events = {s.what.what for s in live if isinstance(s.what, Event)}
    done = [unchanged(e.replace("_", " "), EVENTS[e]) for e in events if e not in QUIET_EVENTS]
    return {
        say("volume"): short_volume(state.plan.must.volume_l, state.plan.sheet),
        say("honey"): likeness_of(case.ground).honey or say("not named"),
        say("kind of yeast"): state.plan.yeast.name,
        say("protocol"): state.plan.protocol_name,
        say("done to it"): join(", ", sorted(done)) or say("nothing written down"),
    }


def comparison_data(a: BatchRecord, b: BatchRecord, found: BatchComparison) -> dict[str, Any]:
    """A comparison for JSON; effects and the rest in days."""
    return {
        "a": a.slug,
        "b": b.slug,
        "unit": "days until two thirds of the sugar are gone, b less a",
        "days_a": found.days_a,
        "days_b": found.days_b,
        "differences": [
            {"what": d.what, "a": d.a, "b": d.b, "effect": d.effect, "error": d.error}
            for d in found.differences
        ],
        "together": found.together,
        "not_explained": found.not_explained,
        "message": " ".join(comparison_sentences(found, a.name, b.name)),
    }
