"""Why a plan stays short of nitrogen, and what on the shelf would help: in words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from mustwright.nutrition.bounds import BROKEN, amount_g_l
from mustwright.nutrition.dosing_problem import SHORT_MG_L, DosingProblem, DosingSolution
from mustwright.nutrition.feeding_plan import Setting
from mustwright.nutrition.programme import binding
from mustwright.nutrition.shelf import Shelf, generic_nutrients
from mustwright.texts import join, literal, say

MOST_ADVICE = 3
POOR_MG_G = 20.0  # a kind with less nitrogen than this is no help [mg N/g]


def why_short(problem: DosingProblem, solution: DosingSolution) -> tuple[str, ...]:
    """What really keeps the nitrogen short; one sentence each, never empty where it is short."""
    if solution.feasible:
        return ()
    found = []
    for ceiling, left in binding(problem, solution):
        words = (
            literal("The limit is that {limit}. Without it, all of the nitrogen could be given.")
            if left < SHORT_MG_L
            else literal(
                "The limit is that {limit}. Without it, all but {left:.0f} mg N/L of the nitrogen "
                "could be given."
            )
        )
        found.append(words.format(limit=ceiling.words, left=left))
    if found:
        return tuple(found)
    full = [
        ceiling.words
        for ceiling in problem.ceilings
        if not ceiling.advises
        and ceiling.most >= 0
        and amount_g_l(ceiling, solution.grams_l) * BROKEN >= ceiling.most
    ]
    if full:  # several hold it together
        limits = join(say(" and "), full)
        return (say("These limits together hold it back: {limits}.", limits=limits),)
    return (say("The shelf has no nitrogen for these feeds: ammonium is not given late."),)


def what_to_buy(setting: Setting, short_with: Callable[[Setting], float]) -> list[str]:
    """The generic nutrients not on the shelf that would help most, at most three.

    Parameters
    ----------
    setting : Setting
    short_with : callable
        Gives the nitrogen that stays short in a setting [mg N/L].

    Returns
    -------
    list of str
    """
    short = short_with(setting)
    advice: list[tuple[float, str]] = []
    for generic in generic_nutrients().values():
        on_shelf = any(jar.class_id == generic.class_id for jar in setting.jars)
        if on_shelf or generic.use == "rehydration" or generic.nitrogen_mg_g < POOR_MG_G:
            continue
        shelf = Shelf((*setting.shelf.nutrients, generic), setting.shelf.scale_g)
        left = short_with(replace(setting, shelf=shelf))
        if left < short - 1:
            words = (
                literal(
                    "{nutrient} on the shelf would make up the {short:.0f} mg N/L this protocol "
                    "lacks."
                )
                if left < SHORT_MG_L
                else literal(
                    "{nutrient} on the shelf would bring the {short:.0f} mg N/L this protocol "
                    "lacks down to {left:.0f}."
                )
            )
            advice.append((left, words.format(nutrient=generic.name, short=short, left=left)))
    return [words for _, words in sorted(advice)[:MOST_ADVICE]]
