"""What the house has learned, as lines and as plain data."""

from __future__ import annotations

from typing import Any

from mustwright.learning.house import effects_of
from mustwright.learning.house_text import (
    effect_data,
    effect_sentence,
    of_words,
    share_sentences,
    telling_effects,
)
from mustwright.services.house import HouseView, Taught
from mustwright.texts import say, say_n

NOTHING = say(
    "Nothing learned yet: there is no finished batch to learn from. Forecasts "
    "are those for musts like yours in general."
)
MEANING = say(
    "The share is how much of the difference between ferments is yours and "
    "repeats. It is taken as small until your batches show it."
)


def house_data(view: HouseView) -> dict[str, Any]:
    """The house for JSON."""
    return {
        "batches": [taught_data(one) for one in view.batches],
        "learned_from": view.count,
        "share": {medium: house.share for medium, house in view.houses.items()},
        "effects": [
            effect_data(effect, medium)
            for medium, house in view.houses.items()
            for effect in effects_of(house)
        ],
        "message": MEANING if view.houses else NOTHING,
    }


def taught_data(one: Taught) -> dict[str, Any]:
    """One closed batch for JSON."""
    like = None if one.summary is None else one.summary.likeness
    return {
        "batch": one.record.slug,
        "name": one.record.name,
        "counts": one.counts,
        "forgotten": one.is_forgotten,
        "pending": one.pending,
        "why": one.why,
        "yeast": like.yeast if like else "",
        "honey": like.honey if like else "",
        "medium": like.medium if like else "",
    }


def taught_sentence(one: Taught) -> str:
    """What a closed batch gave to the house."""
    if one.is_forgotten:
        return say("forgotten, as you asked")
    if one.pending:
        return say("not used yet")
    if not one.counts:
        return one.why
    assert one.summary is not None
    like = one.summary.likeness
    return ", ".join(w for w in (of_words("yeast", like.yeast), like.honey) if w) or "counts"


def house_sections(view: HouseView) -> list[dict[str, Any]]:
    """One section for each medium: what stands out, shares, every effect."""
    return [
        {
            "title": say("Ferments of {medium}", medium=_medium(medium)),
            "told": [effect_sentence(effect, medium) for effect in telling_effects(house)]
            or [say("No single effect stands out.")],
            "shares": share_sentences(house),
            "effects": [
                effect_data(one, medium) | {"of": of_words(one.group, one.of)}
                for one in effects_of(house)
            ],
        }
        for medium, house in view.houses.items()
    ]


def _medium(medium: str) -> str:
    return say("a must of unknown kind") if medium == "unknown" else medium.replace("_", " ")


def house_lines(view: HouseView) -> list[str]:
    """The house as text."""
    lines: list[str] = [
        say("  {batch}: {learned}", batch=one.record.name, learned=taught_sentence(one))
        for one in view.batches
    ]
    if not view.houses:
        return [NOTHING, *lines]
    head = say_n(
        "Learned from {count} finished batch:", "Learned from {count} finished batches:", view.count
    )
    lines = [head, *lines]
    for section in house_sections(view):
        lines += ["", section["title"], *section["shares"], *section["told"]]
    return [*lines, "", MEANING]
