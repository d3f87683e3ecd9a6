"""What had to give way so that the yeast gets its nitrogen, in words: one sentence each."""

from __future__ import annotations

import numpy as np

from mustwright.nutrition.dosing_problem import SHORT_MG_L, DosingProblem, DosingSolution
from mustwright.nutrition.feed_items import FeedTable
from mustwright.texts import join, literal, say

NAMED_MG_L = 2.0  # nitrogen too little to speak of, when it comes from another jar or moment
WORDS = {
    "ammonium": say("ammonium salt", context="whose nitrogen is called for"),
    "organic": say("organic", context="whose nitrogen is called for"),
    "complex": say("complex blend", context="whose nitrogen is called for"),
}


def gave_way(table: FeedTable, problem: DosingProblem, solution: DosingSolution) -> tuple[str, ...]:
    """Kinds, moments, shares of ammonium and usual labels that gave way.

    Parameters
    ----------
    table : FeedTable
    problem : DosingProblem
    solution : DosingSolution
        Of that problem, before it is rounded to the scale.

    Returns
    -------
    tuple of str
        Empty where the plan is the protocol as its author wrote it.
    """
    if not solution.grams_l.size:
        return ()
    return (
        *_kinds(table, problem, solution),
        *_moments(table, solution),
        *_share(problem, solution),
        *_labels(problem, solution),
    )


def _kinds(table: FeedTable, problem: DosingProblem, solution: DosingSolution) -> list[str]:
    found: list[str] = []
    for slot, row in zip(table.slots, solution.stand_ins_mg_l, strict=True):
        for jar, mg_l in zip(problem.jars, row, strict=True):
            if mg_l >= NAMED_MG_L:
                kinds = [WORDS[k] for k in slot.rule.nutrients if k in WORDS]
                named = join(say(" or "), kinds) if kinds else say("other kinds")
                found.append(
                    say(
                        "'{feed}' calls for {kinds} nitrogen. {jar} gives {nitrogen:.0f} mg N/L of "
                        "it here: the shelf has too little of that kind.",
                        feed=slot.rule.name,
                        kinds=named,
                        jar=jar.name,
                        nitrogen=mg_l,
                    )
                )
    return found


def _moments(table: FeedTable, solution: DosingSolution) -> list[str]:
    lacks = [
        (slot.rule.name, lack)
        for slot, lack in zip(table.slots, solution.lacks_mg_l, strict=True)
        if lack >= NAMED_MG_L
    ]
    if not lacks or not any(solution.lacks_mg_l <= -NAMED_MG_L):
        return []
    moved = -float(solution.lacks_mg_l[solution.lacks_mg_l < 0].sum())
    names = join(say(" and "), [say("'{feed}'", context="a name", feed=name) for name, _ in lacks])
    return [
        say(
            "{nitrogen:.0f} mg N/L planned for {feeds} moves to other feeds. The shelf "
            "could bring it there only as ammonium, which those feeds do not take.",
            nitrogen=moved,
            feeds=names,
        )
    ]


def _share(problem: DosingProblem, solution: DosingSolution) -> list[str]:
    if any(feed.fixed_g_l is not None for feed in problem.feeds):
        return []
    grams = solution.grams_l.sum(axis=0)
    ammonium = float(grams @ np.array([j.per_gram("ammonium_n") for j in problem.jars]))
    whole = float(grams @ np.array([j.nitrogen_mg_g for j in problem.jars]))
    if whole <= 0 or ammonium <= problem.ammonium_share_max * whole + SHORT_MG_L:
        return []
    return [
        say(
            "Ammonium makes up {percent:.0f} % of the nitrogen added, where the "
            "protocol allows at most {most:.0f} %: the shelf has too little of the "
            "other kind.",
            percent=100 * ammonium / whole,
            most=100 * problem.ammonium_share_max,
        )
    ]


def _labels(problem: DosingProblem, solution: DosingSolution) -> list[str]:
    found: list[str] = []
    grams = solution.grams_l.sum(axis=0)
    for ceiling in problem.ceilings:
        amount = float(grams @ np.array(ceiling.weights))
        if ceiling.advises and amount > ceiling.most * (1 + 1e-6):
            stock = ceiling.key.startswith("stock:")
            words = (
                literal("It takes {amount:.2g} g/L, but {limit}: get more before you weigh.")
                if stock
                else literal(
                    "It takes {amount:.2g} g/L, but {limit}: read your label before you weigh."
                )
            )
            found.append(words.format(amount=amount, limit=ceiling.words))
    return found
