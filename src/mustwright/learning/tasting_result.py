"""What a closed tasting says: the answer in a sentence, and what was noted of each mead."""

from __future__ import annotations

from collections.abc import Sequence

from mustwright.errors import InputError
from mustwright.languages import here
from mustwright.learning.discrimination import PanelResult
from mustwright.learning.ranking import RankingResult
from mustwright.learning.tasting import KIND_NAMES, TastingRecord, result_of
from mustwright.learning.tasting_text import (
    distance_sentence,
    ranking_sentence,
    result_sentence,
    scores_sentence,
)
from mustwright.texts import join, say

LONGEST = 1900


def result_sentences(tasting: TastingRecord) -> list[str]:
    """What the answers show; why nothing, where too few have answered."""
    try:
        found = result_of(tasting)
    except InputError as error:
        return [say("Too few answers to judge: {error}.", error=error.text)]
    if isinstance(found, PanelResult):
        return [result_sentence(found), distance_sentence(found)]
    if isinstance(found, RankingResult):
        return [
            ranking_sentence(found),
            say("By rank sum: {meads}.", meads=_each(tasting, found.rank_sums)),
        ]
    return [
        scores_sentence(found),
        say("By mean score: {meads}.", meads=_each(tasting, found.means)),
    ]


def _each(tasting: TastingRecord, values: Sequence[float]) -> str:
    pairs = zip(tasting.meads, values, strict=True)
    return join(
        ", ", [say("{name} {value:.3g}", name=mead.name, value=value) for mead, value in pairs]
    )


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
    """A note for the log of the batch tasted, in the language spoken where it is written."""
    others = ", ".join(m.name for k, m in enumerate(tasting.meads, 1) if k != place)
    notes = [f"{who}: {note}" for who, note in notes_of_mead(tasting, place)]
    text = say(
        "Tasted blind, {kind}, beside {others}: {found} {notes}",
        kind=KIND_NAMES[tasting.kind],
        others=others,
        found=result_sentences(tasting)[0],
        notes=" ".join(notes),
    )
    return here(text).strip()[:LONGEST]
