"""What a batch was mixed from: the ingredients of its plan's sheet, as they were worked out."""

from __future__ import annotations

from mustwright.batch.plan import BatchPlan
from mustwright.errors import MustwrightError
from mustwright.must.ingredient import Ingredient, all_ingredients, ingredient_called
from mustwright.planning.must_setup import IngredientLine, ground_of

HONEY, WATER = "honey", "water"


def mixed_from(plan: BatchPlan) -> tuple[IngredientLine, ...]:
    """Ingredients in the order of the sheet; none where it cannot be worked out or names none."""
    try:
        return ground_of(plan.sheet, "must").must.ingredients if plan.sheet else ()
    except MustwrightError:
        return ()


def called(line: IngredientLine) -> str:
    """An ingredient as the maker calls it: by a name typed for it, or by the kind that was typed.

    A kind typed as an id is said by the name of its record.
    """
    known = _record(line)
    if known is None or line.name != known.name or line.kind in all_ingredients():
        return line.name
    return line.kind or line.name


def honeys(plan: BatchPlan) -> tuple[str, ...]:
    """Names of the honeys in it, each once."""
    return tuple(dict.fromkeys(called(line) for line in mixed_from(plan) if _is(line, HONEY)))


def made_of(plan: BatchPlan) -> str:
    """What a label may start from: every ingredient of the must but water.

    What was added later, and allergens, are for the maker to write.
    """
    return ", ".join(
        dict.fromkeys(called(line) for line in mixed_from(plan) if not _is(line, WATER))
    )


def _is(line: IngredientLine, form: str) -> bool:
    known = _record(line)
    return known is not None and known.form == form


def _record(line: IngredientLine) -> Ingredient | None:
    try:
        return ingredient_called(line.kind, "kind")[0]
    except MustwrightError:
        return None
