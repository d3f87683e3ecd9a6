"""What to say of the salt in a plan: one wording for page, command, print and batch."""

from __future__ import annotations

from mustwright.nutrition.plan_salt import PlanSalt, SaltPart
from mustwright.texts import join, say


def part_title(salt: PlanSalt, part: SaltPart) -> str:
    """A part as the head of its step."""
    return say(
        "{grams:g} g {salt}, if the pH is low", grams=part.grams.value, salt=salt.name.lower()
    )


def part_notes(salt: PlanSalt) -> tuple[str, ...]:
    """What to do and to know at each part."""
    found = [*salt.steps, salt.why]
    if not salt.on_shelf:
        found.append(say("It is not on your shelf."))
    if salt.limit:
        found.append(say("More is not planned: {limit}", limit=salt.limit))
    return tuple(found)


def no_salt_note(salt: PlanSalt | None) -> str:
    """Why a must whose pH will fall too low gets no salt; empty otherwise."""
    if salt is None or salt.parts:
        return ""
    return join(" ", (salt.why, salt.words))
