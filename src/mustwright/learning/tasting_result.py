"""What a closed tasting says: the answer in a sentence, and what was noted of each mead."""

from __future__ import annotations

from collections.abc import Sequence

from mustwright.errors import InputError
from mustwright.learning.discrimination import PanelResult
from mustwright.learning.ranking import RankingResult
from mustwright.learning.tasting import TastingRecord, result_of
from mustwright.learning.tasting_text import (
    distance_sentence,
    ranking_sentence,
    result_sentence,
    scores_sentence,
)

LONGEST = 1900


def result_sentences(tasting: TastingRecord) -> list[str]:
    """What the answers show; why nothing, where too few have answered."""
    try:
        found = result_of(tasting)
    except InputError as error:
        return [f"Too few answers to judge: {error}."]
    if isinstance(found, PanelResult):
        return [result_sentence(found), distance_sentence(found)]
    if isinstance(found, RankingResult):
        return [ranking_sentence(found), _each(tasting, found.rank_sums, "rank sum")]
    return [scores_sentence(found), _each(tasting, found.means, "mean score")]


def _each(tasting: TastingRecord, values: Sequence[float], what: str) -> str:
    pairs = zip(tasting.meads, values, strict=True)
    return f"By {what}: " + ", ".join(f"{m.name} {value:.3g}" for m, value in pairs) + "."


def notes_of_mead(tasting: TastingRecord, place: int) -> list[tuple[str, str]]:
    """What tasters noted of a mead, with their initials.

    Parameters
    ----------
    tasting : TastingRecord
    place : int
        Of the mead, from 1.
    """
    return [
        (seat.initials, note)
        for seat in tasting.answered
        for mead, note in zip(seat.order, seat.notes, strict=True)
        if mead == place and note
    ]


def note_of_mead(tasting: TastingRecord, place: int) -> str:
    """A note for the log of the batch tasted."""
    others = ", ".join(m.name for k, m in enumerate(tasting.meads, 1) if k != place)
    said = [f"{who}: {note}" for who, note in notes_of_mead(tasting, place)]
    text = (
        f"Tasted blind, {tasting.kind}, beside {others}: {result_sentences(tasting)[0]} "
        + " ".join(said)
    )
    return text.strip()[:LONGEST]
