"""What can be chosen from: ingredients, yeasts, laws, nutrients, protocols' triggers."""

from __future__ import annotations

from functools import cache

from mustwright.must.ingredient import all_ingredients
from mustwright.nutrition.limits import legal_profiles
from mustwright.nutrition.shelf import generic_nutrients
from mustwright.planning.ranking import DEFAULT_AIM, aims
from mustwright.yeast.pitch import strains


@cache
def ingredient_names() -> tuple[str, ...]:
    """Every ingredient with a record, by name."""
    return tuple(sorted((i.name for i in all_ingredients().values()), key=str.lower))


@cache
def yeast_options() -> tuple[tuple[str, str], ...]:
    """Kinds of yeast: id, and name with how much nitrogen it asks for."""
    return tuple(
        (s.id, f"{s.name} (asks for {s.nitrogen_class.replace('_', ' ')} nitrogen)")
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
    ("primary", "before pitching"),
    ("secondary", "after the main ferment"),
    ("late", "late, to finish"),
)


def aim_options() -> tuple[tuple[str, str], ...]:
    """What a maker may want most: id and words; the default stands for nothing said."""
    return tuple(
        ("" if aim.id == DEFAULT_AIM else aim.id, f"{aim.name}: {aim.words}")
        for aim in aims().values()
    )
