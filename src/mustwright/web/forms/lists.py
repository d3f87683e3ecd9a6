"""What can be chosen from: ingredients, yeasts, laws, nutrients, protocols' triggers."""

from __future__ import annotations

from functools import cache

from mustwright.languages import here, spoken
from mustwright.must.ingredient import all_ingredients, kind_words
from mustwright.nutrition.limits import legal_profiles
from mustwright.nutrition.shelf import generic_nutrients
from mustwright.planning.ranking import DEFAULT_AIM, aims
from mustwright.texts import say
from mustwright.yeast.pitch import strains

NEEDS = {
    "low": say("low", context="demand"),
    "medium": say("medium", context="demand"),
    "high": say("high", context="demand"),
    "very_high": say("very high", context="demand"),
}


@cache
def ingredient_names() -> tuple[str, ...]:
    """Every ingredient with a record, by name."""
    return tuple(sorted((i.name for i in all_ingredients().values()), key=str.lower))


def kind_kept(typed: str, before: str = "") -> str:
    """A kind as a sheet keeps it: by its English name, where it was chosen in another language.

    Parameters
    ----------
    typed : str
    before : str
        What the sheet has; kept where the same is meant.
    """
    meant = typed.strip().casefold()
    if not meant or spoken() is None:
        return typed
    if before and meant == here(kind_words(before)).casefold():
        return before
    known = (name for name in ingredient_names() if here(name).casefold() == meant)
    return str(next(known, typed))


@cache
def yeast_options() -> tuple[tuple[str, str], ...]:
    """Kinds of yeast: id, and name with how much nitrogen it asks for."""
    return tuple(
        (
            s.id,
            say(
                "{name} ({need} nitrogen demand)",
                name=s.name,
                need=NEEDS.get(s.nitrogen_class, s.nitrogen_class),
            ),
        )
        for s in strains().values()
    )


@cache
def law_options() -> tuple[tuple[str, str], ...]:
    """Legal profiles: id and name."""
    return tuple((p.id, p.name) for p in legal_profiles().values())


@cache
def nutrient_options() -> tuple[tuple[str, str], ...]:
    """Generic kinds of nutrient: id and name."""
    return tuple((n.id, n.name) for n in generic_nutrients().values())


STAGE_OPTIONS = (
    ("primary", say("before pitching")),
    ("secondary", say("after the main ferment")),
    ("late", say("late, to finish")),
)


def aim_options() -> tuple[tuple[str, str], ...]:
    """What a maker may want most: id and name; the default stands for nothing said."""
    return tuple(("" if aim.id == DEFAULT_AIM else aim.id, aim.name) for aim in aims().values())
