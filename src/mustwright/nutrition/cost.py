"""What a plan's nutrients cost, by the prices the maker typed."""

from __future__ import annotations

from collections.abc import Sequence

from mustwright.figure import ARITHMETIC, Figure, total
from mustwright.nutrition.dosing_problem import Floats
from mustwright.nutrition.shelf import Nutrient
from mustwright.texts import join, say


def cost_of(
    jars: Sequence[Nutrient],
    grams: Floats,
    rehydration: tuple[Nutrient | None, float] = (None, 0.0),
) -> tuple[Figure | None, str]:
    """Cost of every nutrient of a plan; None and why, where a price is not stated.

    Parameters
    ----------
    jars : sequence of Nutrient
    grams : ndarray
        Feeds by jars [g].
    rehydration : tuple of (Nutrient or None, float)
        What goes into the water of the yeast, and how much of it [g].

    Returns
    -------
    tuple of (Figure or None, str)
        The cost [-], in your currency, and what no price is stated for.
    """
    parts: dict[str, Figure] = {}
    unknown = []
    used = [(jar, float(grams[:, j].sum()) if grams.size else 0.0) for j, jar in enumerate(jars)]
    if rehydration[0] is not None:
        used.append((rehydration[0], rehydration[1]))
    for jar, mass in used:
        if mass <= 0:
            continue
        if jar.price_per_kg is None:
            unknown.append(jar.name)
            continue
        name = jar.name if jar.name not in parts else say("{jar}, for the yeast", jar=jar.name)
        parts[name] = money(mass, jar.price_per_kg)
    if unknown:
        return None, say("no price stated for {jars}", jars=join(", ", dict.fromkeys(unknown)))
    return total(parts, "money"), ""


def money(grams: float, price_per_kg: float) -> Figure:
    """What so many grams cost, in the money of the price.

    Examples
    --------
    >>> money(250.0, 8.0).value
    2.0
    """
    return Figure(
        grams * price_per_kg / 1000,
        "money",
        say("grams x typed price per kg / 1000"),
        ARITHMETIC,
        {"grams": grams, "price_per_kg": price_per_kg},
    )
