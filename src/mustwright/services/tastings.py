"""Tastings in the cellar: made, answered seat by seat, closed, and noted in the batches tasted."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from mustwright.batch.codec import record_from
from mustwright.batch.entries import Note
from mustwright.errors import ConflictError
from mustwright.learning.tasting import (
    TastedMead,
    TastingRecord,
    answered,
    closed,
    new_tasting,
)
from mustwright.learning.tasting_result import note_of_mead
from mustwright.plain_data import data_of
from mustwright.services.batch.record import write
from mustwright.services.batch.repository import Ledger
from mustwright.services.notebook import TASTING, Notebook, NotePage
from mustwright.texts import say

TRIES = 5  # two tasters may send at the same moment: each answer is put onto the newest version


@dataclass(frozen=True)
class KeptTasting:
    """A tasting and where it is kept."""

    key: str
    version: int
    tasting: TastingRecord


def tastings(notebook: Notebook) -> list[KeptTasting]:
    """Every tasting, the newest first."""
    found = [tasting_from(page) for page in notebook.pages(TASTING)]
    return sorted(found, key=lambda one: one.tasting.made_at, reverse=True)


def tasting(notebook: Notebook, key: str) -> KeptTasting:
    """One tasting.

    Raises
    ------
    MissingRecordError
    """
    return tasting_from(notebook.page(TASTING, key))


def make_tasting(
    ledger: Ledger,
    notebook: Notebook,
    name: str,
    kind: str,
    question: str,
    meads: Sequence[TastedMead],
    *,
    tasters: int,
    seed: int,
    now: datetime,
    expected: int = 0,
) -> KeptTasting:
    """A tasting with a seat for each taster.

    Raises
    ------
    InputError
    MissingRecordError
        For a batch that is not there.
    """
    for mead in meads:
        if mead.batch:
            ledger.batch(mead.batch)
    made = new_tasting(name, kind, question, tuple(meads), tasters, seed, now, expected)
    return tasting_from(notebook.add_page(TASTING, made.name, _text(made)))


def answer_seat(
    notebook: Notebook,
    key: str,
    number: int,
    initials: str,
    answer: Mapping[int, float],
    notes: Mapping[int, str],
) -> KeptTasting:
    """Take one taster's answer in; it may be changed until the tasting is closed.

    Raises
    ------
    ConflictError
        Where the tasting is closed.
    InputError, MissingRecordError
    """
    for _ in range(TRIES):
        kept = tasting(notebook, key)
        changed = answered(kept.tasting, number, initials, answer, notes)
        try:
            return tasting_from(notebook.save_page(TASTING, key, _text(changed), kept.version))
        except ConflictError:
            continue
    raise ConflictError(
        say("others kept sending at the same moment; please send your answer again")
    )


def close_tasting(ledger: Ledger, notebook: Notebook, key: str, now: datetime) -> KeptTasting:
    """Close a tasting, and note in each batch tasted what was found; closing again changes nothing.

    Raises
    ------
    ConflictError
        Where nobody has answered.
    MissingRecordError
    """
    kept = tasting(notebook, key)
    if not kept.tasting.is_closed:
        done = closed(kept.tasting, now)
        kept = tasting_from(notebook.save_page(TASTING, key, _text(done), kept.version))
    at = kept.tasting.closed_at or now
    for place, mead in enumerate(kept.tasting.meads, 1):
        if mead.batch:  # written once: a second try after a failure says the same under the same id
            note = Note(note_of_mead(kept.tasting, place))
            write(ledger, mead.batch, note, at=at, id=f"tasting-{key}-{place}")
    return kept


def tastings_of_batch(notebook: Notebook, slug: str) -> list[KeptTasting]:
    """Tastings that a batch was in, the newest first."""
    return [one for one in tastings(notebook) if any(m.batch == slug for m in one.tasting.meads)]


def _text(tasting: TastingRecord) -> str:
    return json.dumps(data_of(tasting), separators=(",", ":"), allow_nan=False)


def tasting_from(page: NotePage) -> KeptTasting:
    content = json.loads(page.content)
    return KeptTasting(page.key, page.version, record_from(TastingRecord, content, "tasting"))
