"""Which grams of what: the blend of each feed as a linear programme over the shelf.

Variables are grams per litre of each nutrient in each feed. What matters first is solved first and
then held fixed. The law, the stock and a typed label hold whatever happens; then, in this order:
nitrogen, the moments of the feeds, the protocol's preferences (kinds, share of ammonium), what
labels of a kind usually allow, minerals and vitamins, cost, number of products.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from mustwright.nutrition.dosing_model import DosingModel
from mustwright.nutrition.dosing_problem import (
    SHORT_MG_L,
    Ceiling,
    DosingProblem,
    DosingSolution,
    FeedAsk,
    Floats,
)

COST_SLACK = 0.01  # fewer products may cost this share more


def solve(problem: DosingProblem) -> DosingSolution:
    """The best blend for a problem; short of nitrogen only where no blend can bring it.

    Parameters
    ----------
    problem : DosingProblem

    Returns
    -------
    DosingSolution
        What cannot be brought is short in proportion to what each feed asks; what a feed cannot
        bring at its own moment (ammonium is not given late) another one brings.
    """
    shape = (len(problem.feeds), len(problem.jars))
    asked = np.array([feed.nitrogen_mg_l for feed in problem.feeds])
    if not problem.feeds or not problem.jars:
        return DosingSolution(np.zeros(shape), asked)
    model = DosingModel(problem)
    best = model.least(model.net)
    model.hold(model.net, float(model.net @ best))
    for aim in model.aims:
        found = best if model.is_reached(aim, best) else model.try_least(aim)
        if found is None:  # what is held leaves less room than the solver's tolerance
            break
        best = found
        slack = COST_SLACK if aim is model.cost else 0.0
        model.hold(aim, float(aim @ best) * (1 + slack))
    else:
        best = _fewest(model, best)
    grams = model.grams_of(best)
    return DosingSolution(
        grams, asked - grams @ model.nitrogen, _kept_back(problem, grams), _stand_ins(model, grams)
    )


def _stand_ins(model: DosingModel, grams: Floats) -> Floats:
    """Nitrogen that jars bring which the protocol did not name for the feed [mg N/L]."""
    brought = grams * model.nitrogen
    for i, feed in enumerate(model.problem.feeds):
        brought[i, list(feed.nutrients)] = 0.0
    return np.asarray(brought)


def _kept_back(problem: DosingProblem, grams: Floats) -> float:
    """Largest part of a stated rate that is not given (0 to 1)."""
    parts = [
        1 - float(grams[i, j]) / rate
        for i, feed in enumerate(problem.feeds)
        for j, rate in (feed.fixed_g_l or {}).items()
        if rate > 0
    ]
    return max(parts, default=0.0)


def _fewest(model: DosingModel, best: Floats) -> Floats:
    """Leave out jars one by one, the least used first, where everything held still holds."""
    used = model.grams_of(best).sum(axis=0)
    for j in sorted(np.flatnonzero(used), key=lambda j: used[j]):
        without = model.try_without(int(j))
        if without is not None:
            best = without
    return best


def binding(problem: DosingProblem, solution: DosingSolution) -> list[tuple[Ceiling, float]]:
    """Ceilings that keep the nitrogen short, with the shortfall left when each is lifted [mg N/L].

    Empty when the plan is feasible.
    """
    if solution.feasible:
        return []
    short = shortfall(problem)
    found = []
    for ceiling in problem.ceilings:
        if ceiling.advises:
            continue
        lifted = replace(problem, ceilings=tuple(c for c in problem.ceilings if c is not ceiling))
        left = shortfall(lifted)
        if left < short - SHORT_MG_L:
            found.append((ceiling, left))
    return sorted(found, key=lambda pair: pair[1])


def shortfall(problem: DosingProblem) -> float:
    """Least nitrogen that stays short over the whole plan, whatever the blend [mg N/L]."""
    if not problem.feeds or not problem.jars:
        return sum(feed.nitrogen_mg_l for feed in problem.feeds)
    model = DosingModel(problem)
    return float(model.net @ model.least(model.net))


def as_written(problem: DosingProblem) -> DosingProblem:
    """The same protocol as its author would give it: no ceiling, no jar standing in for another.

    Minerals could take any amount once no ceiling holds them, so none are asked for.
    """
    feeds = tuple(replace(feed, stand_ins=()) for feed in problem.feeds)
    return replace(problem, feeds=feeds, ceilings=(), wants={}, strict=True)


__all__ = [
    "SHORT_MG_L",
    "Ceiling",
    "DosingProblem",
    "DosingSolution",
    "FeedAsk",
    "Floats",
    "as_written",
    "binding",
    "shortfall",
    "solve",
]
