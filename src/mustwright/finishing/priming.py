"""How much sugar makes the gas wanted: priming by stoichiometry, with a juice's dilution."""

from __future__ import annotations

from dataclasses import dataclass

from mustwright.constants import CO2_PER_HEXOSE_G_G, CO2_VOLUME_G_L
from mustwright.errors import ImpossibleError
from mustwright.figure import ARITHMETIC, Figure, typed
from mustwright.finishing.liquid import of_ingredient
from mustwright.finishing.step import record
from mustwright.must.blend import fermentable_hexose
from mustwright.must.ingredient import Ingredient
from mustwright.texts import say

THINNING_FORMS = ("juice", "concentrate", "fruit", "syrup")


@dataclass(frozen=True)
class Sugar:
    """What primes: its name and the hexose yeast gets from it [g/g]."""

    id: str
    name: str
    hexose_g_g: Figure
    ingredient: Ingredient | None = None


def sugar_called(identity: str, ingredient: Ingredient | None = None) -> Sugar:
    """A priming sugar by id, or any ingredient with sugar in it.

    Notes
    -----
    Stoichiometry: 1 g of sucrose is 1.05263 g of hexose, 1 g of dextrose monohydrate 0.90909 g; an
    ingredient gives its sugars times the share that ferments.
    """
    if ingredient is None:
        entry = record("priming_sugar", identity, "sugar")
        hexose = Figure(
            float(entry["hexose"]), "g/g", say("hexose per gram by molar masses"), ARITHMETIC
        )
        return Sugar(str(entry["id"]), entry["name"], hexose)
    share = fermentable_hexose(ingredient)
    if share < 0.02:
        raise ImpossibleError(
            "sugar", say("needs something with fermentable sugar"), ingredient.name
        )
    water = ingredient.figures.get("water_pct", 0.0)
    hexose = Figure(
        share,
        "g/g",
        say("sugars x fermentable share (sucrose x 1.053)"),
        ARITHMETIC,
        {"water": water},
    )
    return Sugar(ingredient.id, ingredient.name, hexose, ingredient)


def priming_sugar(sugar: Sugar, in_l: float, residual: Figure, target: Figure) -> Figure:
    """Work out the priming sugar for the batch.

    Parameters
    ----------
    sugar : Sugar
    in_l : float
        Of the mead, above 0 [L].
    residual : Figure
        Carbon dioxide still in it, at least 0 [vol].
    target : Figure
        Carbon dioxide wanted, above 0 [g/L].

    Returns
    -------
    Figure
        At least 0 [g].

    Raises
    ------
    ImpossibleError
        If the sugar is so thin that it waters the mead faster than it primes it.

    Notes
    -----
    Stoichiometry: 2 CO2 per hexose; one volume is 1.9768 g/L (SpanWagner1996).
    """
    hexose = Figure(
        CO2_PER_HEXOSE_G_G,
        "g/g",
        say("2 CO2 per hexose"),
        say("arithmetic: 2 x 44.009 over 180.156 g/mol"),
    )
    per_gram = sugar.hexose_g_g.value * hexose.value
    room = _room_l_g(sugar)

    def grams(left_volumes: float) -> float:
        missing = (target.value - left_volumes * CO2_VOLUME_G_L) * in_l
        if per_gram <= target.value * room:
            raise ImpossibleError(
                "sugar",
                say("is too thin for so much sparkle: it waters the mead faster"),
                sugar.name,
            )
        return max(missing / (per_gram - target.value * room), 0.0)

    return Figure(
        grams(residual.value),
        "g",
        say("(target - left) x 1.9768 x volume / (hexose x 0.48857), thinning counted")
        if room
        else say("(target - left) x 1.9768 x volume / (hexose x 0.48857)"),
        ARITHMETIC,
        {
            "target_g_l": target,
            "left": residual,
            "volume_l": typed(in_l, "L"),
            "hexose_per_gram": sugar.hexose_g_g,
            "co2_per_hexose": hexose,
        },
    )


def _room_l_g(sugar: Sugar) -> float:
    """Litres a gram of it adds, counted where it is mostly water."""
    if sugar.ingredient is None or sugar.ingredient.form not in THINNING_FORMS:
        return 0.0
    return of_ingredient(sugar.ingredient, 1.0).volume_l / 1000
