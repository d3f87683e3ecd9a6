"""What does the whole batch cost: honey, yeast and every nutrient, by the prices typed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from mustwright.figure import ARITHMETIC, Figure, total
from mustwright.input_names import input_words
from mustwright.nutrition.cost import money
from mustwright.nutrition.feeding_plan import FeedingPlan
from mustwright.planning.must_setup import Ground
from mustwright.texts import join, literal, say

BOTTLE_L = 0.75
FREE = ("water",)  # forms of ingredient nobody prices


@dataclass(frozen=True)
class BatchCost:
    """Cost of a batch as far as prices were typed.

    Parameters
    ----------
    batch, per_litre, per_bottle : Figure or None
        In the money of the prices; a bottle holds 0.75 L. None where nothing is priced.
    not_priced : tuple of str
        What goes in without a price: the whole costs that much more.
    """

    batch: Figure | None
    per_litre: Figure | None
    per_bottle: Figure | None
    not_priced: tuple[str, ...]

    @property
    def words(self) -> str:
        """The cost in a sentence."""
        if self.batch is None or self.per_litre is None or self.per_bottle is None:
            return say("Cost not known: no price was typed.")
        words = (
            literal(
                "The batch costs at least {batch:.2f} in your currency, {litre:.2f} a litre of "
                "must, {bottle:.2f} a bottle of 750 mL; no price was typed for {missing}."
            )
            if self.not_priced
            else literal(
                "The batch costs {batch:.2f} in your currency, {litre:.2f} a litre of must, "
                "{bottle:.2f} a bottle of 750 mL."
            )
        )
        return words.format(
            batch=self.batch.value,
            litre=self.per_litre.value,
            bottle=self.per_bottle.value,
            missing=join(", ", self.not_priced),
        )


def batch_cost(ground: Ground, plan: FeedingPlan) -> BatchCost:
    """Honey and whatever else is in the must, yeast, rehydration nutrient and feeds as planned.

    Losses are not counted: a litre is one of must, before lees and racking.
    """
    items = [(item.nutrient, item.grams.value) for feed in plan.feeds for item in feed.items]
    return _cost(ground, items)


def used_cost(ground: Ground, given_g: Mapping[str, float]) -> BatchCost:
    """The same with the feeds as they were given.

    Parameters
    ----------
    ground : Ground
    given_g : mapping of str to float
        Grams of each nutrient, by its name on the shelf; others are named as not priced.
    """
    return _cost(ground, list(given_g.items()))


def _cost(ground: Ground, fed: Sequence[tuple[str, float]]) -> BatchCost:
    parts: dict[str, Figure] = {}
    missing: list[str] = []
    for portion, line in zip(ground.sheet.portions, ground.must.ingredients, strict=True):
        if portion.ingredient.form in FREE and portion.price_per_kg is None:
            continue
        _count(parts, missing, line.name, line.kg.value * 1000, portion.price_per_kg)
    pitch, shelf = ground.setting.pitch, ground.sheet.shelf
    _count(
        parts, missing, input_words("yeast"), pitch.yeast_g.value, ground.sheet.yeast_price_per_kg
    )
    jar = shelf.for_rehydration
    if jar is not None:
        grams = pitch.rehydration_nutrient_g.value
        _count(parts, missing, jar.name, grams, jar.price_per_kg)
    jars = {n.id: n for n in shelf.nutrients}
    for nutrient, grams in fed:
        held = jars.get(nutrient)
        name, price = (nutrient, None) if held is None else (held.name, held.price_per_kg)
        _count(parts, missing, name, grams, price)
    not_priced = tuple(dict.fromkeys(missing))
    if not parts:
        return BatchCost(None, None, None, not_priced)
    whole = total(parts, "money")
    litres = ground.setting.must.volume_l
    return BatchCost(
        whole,
        _share(whole, litres, 1.0, say("whole / volume of must")),
        _share(whole, litres, BOTTLE_L, say("whole / volume of must x 0.75 L")),
        not_priced,
    )


def _count(
    parts: dict[str, Figure], missing: list[str], name: str, grams: float, price: float | None
) -> None:
    if grams <= 0:
        return
    if price is None:
        missing.append(name)
        return
    key, number = name, 1
    while key in parts:
        number += 1
        key = join("", (name, f" ({number})"))
    parts[key] = money(grams, price)


def _share(whole: Figure, litres: Figure, of_l: float, formula: str) -> Figure:
    return Figure(
        whole.value / litres.value * of_l,
        "money",
        formula,
        ARITHMETIC,
        {"whole": whole, "volume_l": litres},
    )
