"""What to say of the salt in a plan: one wording for page, command, print and batch."""

from __future__ import annotations

from collections.abc import Sequence

from mustwright.nutrition.plan_salt import PlanSalt, SaltPart
from mustwright.texts import join, say, sentences_of

IN_STEPS = "stir the gas out"  # what steps and cautions both say of a salt that foams
AGAIN = say("Go about it as with the first part.")


def part_title(salt: PlanSalt, part: SaltPart) -> str:
    """A part as the head of its step."""
    return say(
        "{grams:g} g {salt}, if the pH is low", grams=part.grams.value, salt=salt.name.lower()
    )


def part_notes(salt: PlanSalt, part: SaltPart | None = None) -> tuple[str, ...]:
    """What to do and to know at the first part; at a later one, that it is done the same way."""
    if part is not None and part.key != salt.parts[0].key:
        return (AGAIN,)
    found = [*salt.steps, salt.why]
    if not salt.on_shelf:
        found.append(say("It is not on your shelf."))
    if salt.limit:
        found.append(say("More is not planned: {limit}", limit=salt.limit))
    return tuple(found)


def cautions_beside(steps: Sequence[str], cautions: Sequence[str]) -> tuple[str, ...]:
    """What to mind where a salt goes in, without what its steps say already.

    Examples
    --------
    >>> cautions_beside(
    ...     ["Stir the gas out gently."], ["Foams: stir the gas out first. Dust irritates."]
    ... )
    ('Dust irritates.',)
    """
    if not any(IN_STEPS in step.lower() for step in steps):
        return tuple(cautions[:2])
    left = (
        join(" ", [one for one in sentences_of(text) if IN_STEPS not in one.lower()])
        for text in cautions[:2]
    )
    return tuple(text for text in left if text)


def no_salt_note(salt: PlanSalt | None) -> str:
    """Why a must whose pH will fall too low gets no salt; empty otherwise."""
    if salt is None or salt.parts:
        return ""
    return join(" ", (salt.why, salt.words))
