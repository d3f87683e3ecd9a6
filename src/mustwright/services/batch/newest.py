"""What came last in the log of a batch: found from a few of its lines, not from all of them."""

from __future__ import annotations

from dataclasses import dataclass

from mustwright.batch.entries import METER, Entry, Reading
from mustwright.batch.log import Standing, standing, to_undo
from mustwright.batch.view import BatchView
from mustwright.services.batch.cache import memory_of
from mustwright.services.batch.repository import Ledger

MOST_KEPT = 10  # entries of one batch


@dataclass(frozen=True)
class Newest:
    """The end of a log.

    Parameters
    ----------
    stands : tuple of Standing
        The latest entries as they stand, removed ones too, the latest first.
    undo : tuple of (Entry, Standing) or None
        The line that undo would take back, and the entry it is about.
    reading : Reading or None
        The latest with a gravity that counts.
    ph_by : str
        What the latest pH among these was read with; a meter where there is none.
    """

    stands: tuple[Standing, ...]
    undo: tuple[Entry, Standing] | None
    reading: Reading | None
    ph_by: str


def newest(ledger: Ledger, view: BatchView, most: int) -> Newest:
    """The latest `most` entries of a batch at the version of the view.

    Kept for each batch while its log is the same, as a page asks for the same few each time.
    """
    record, kept = view.record, memory_of(ledger).ends
    named = record.cellar, record.slug, most
    depends_on = record.version, view.entries, view.in_order
    held = kept.get(named)
    if held is None or held[0] != depends_on:
        held = depends_on, _newest(ledger, view, most)
        if most <= MOST_KEPT:
            kept.keep(named, held)
    return held[1]


def _newest(ledger: Ledger, view: BatchView, most: int) -> Newest:
    # Each line counts the version up by one: as many entries as that, and none was changed.
    is_plain = view.entries == view.record.version
    slug, version = view.record.slug, view.record.version
    in_order = is_plain and view.in_order
    lines = ledger.newest(slug, most, version, is_plain=is_plain, in_order=in_order)
    known = standing(lines)
    shown = known[-most:][::-1]
    line = to_undo(lines)
    undo = None
    if line is not None:
        target = getattr(line.what, "target", line.id)
        undo = line, next(s for s in known if s.entry.id == target)
    reading = _reading(shown)
    if reading is None and len(shown) < view.entries:
        reading = _reading(view.stands[::-1])
    return Newest(shown, undo, reading, _ph_by(shown))


def _ph_by(stands: tuple[Standing, ...]) -> str:
    found = (s.what for s in stands if isinstance(s.what, Reading) and not s.removed)
    return next((r.ph_by for r in found if r.ph is not None), METER)


def _reading(stands: tuple[Standing, ...]) -> Reading | None:
    found = (s.what for s in stands if isinstance(s.what, Reading) and not s.removed)
    return next((r for r in found if r.has_gravity), None)
