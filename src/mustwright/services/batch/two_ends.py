"""An event with two ends: what went into one batch came out of another, and both say so."""

from __future__ import annotations

from collections.abc import Mapping

from mustwright.batch.entries import Entry, Removal, Restoration, What
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.log import Standing, standing
from mustwright.errors import InputError
from mustwright.services.batch.repository import Ledger
from mustwright.texts import say

MOST_LOTS = 6  # of a blend
BLEND, DRAWN = "blend", "drawn"


def other_end(id: str, lot: int) -> str:
    """The id of the line in the batch that a lot of a blend was drawn from."""
    return f"{id}-{lot}"


def ends_of(ledger: Ledger, slug: str, stand: Standing) -> dict[str, str]:
    """The other ends of an entry: by batch, the id of its line there; empty where it has none.

    Raises
    ------
    InputError
        When one of the other batches was put away: both ends are changed, or neither.
    """
    what = stand.entry.what
    if not isinstance(what, StepDone) or what.step not in (BLEND, DRAWN):
        return {}
    blend = stand.entry.id if what.step == BLEND else stand.entry.id.rpartition("-")[0]
    ids = [blend, *(other_end(blend, lot) for lot in range(1, MOST_LOTS + 1))]
    held = ledger.holding([id for id in ids if id and id != stand.entry.id])
    if what.step == DRAWN and blend not in held:
        return {}
    found = {batch: id for id, batch in held.items() if batch != slug}
    alive = {record.slug for record in ledger.batches()}
    for batch in found:
        if batch not in alive:
            needs = say(
                "needs the batch {batch!r}, which holds the other half of this "
                "entry: bring that batch back first",
                batch=batch,
            )
            raise InputError("entry", needs, say("it was deleted"))
    return found


def changes_of(ends: Mapping[str, str], ledger: Ledger, change: What) -> dict[str, What]:
    """What takes the other ends back, or brings them back, along with one; by batch.

    An end that is so already is left alone.
    """
    found: dict[str, What] = {}
    for slug, id in ends.items():
        log = ledger.log(slug)
        end = next((s for s in standing(log) if s.entry.id == id), None)
        if end is None or end.removed == isinstance(change, Removal):
            continue
        if isinstance(change, Removal):
            found[slug] = Removal(id, change.why, id if change.undoes else None)
        elif isinstance(change, Restoration):
            last = _last_removal(log, id)
            found[slug] = Restoration(id, last if change.undoes else None)
    return found


def _last_removal(log: list[Entry], id: str) -> str | None:
    of_it = (e.id for e in reversed(log) if isinstance(e.what, Removal) and e.what.target == id)
    return next(of_it, None)


def refuse_other_amounts(ledger: Ledger, slug: str, stand: Standing, what: StepDone) -> None:
    """Refuse a correction of one end that the other would contradict.

    Raises
    ------
    InputError
    """
    now = stand.what
    if (now.lost_l, now.added) == (what.lost_l, what.added):
        return
    for batch in ends_of(ledger, slug, stand):
        needs = say(
            "needs the same amounts as in {batch!r}: take the step back and do it again",
            batch=batch,
        )
        raise InputError("lost_l", needs, say("{lost_l:g} L", lost_l=what.lost_l))
