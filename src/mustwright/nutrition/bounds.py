"""Which bounds an amount touches or breaks, as figures with their source."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from mustwright.figure import ARITHMETIC, Figure
from mustwright.nutrition.dosing_problem import Ceiling, Floats
from mustwright.nutrition.feeding_plan import Bound
from mustwright.texts import say

TOUCHED = 0.995
BROKEN = 1 + 1e-6


def amount_g_l(ceiling: Ceiling, grams_l: Floats) -> float:
    """What grams per litre (feeds by jars) add up to under a ceiling [g/L]."""
    return float(grams_l.sum(axis=0) @ np.array(ceiling.weights)) if grams_l.size else 0.0


def bound(ceiling: Ceiling, asked_g_l: float, volume_l: Figure) -> Bound:
    """A ceiling beside what is asked of it.

    Parameters
    ----------
    ceiling : Ceiling
    asked_g_l : float
        At least 0 [g/L].
    volume_l : Figure
        Of the must, above 0 [L].

    Returns
    -------
    Bound
    """
    return Bound(
        ceiling.key,
        Figure(
            asked_g_l,
            "g/L",
            say("sum of grams x share of the limited substance / volume"),
            ARITHMETIC,
            {"volume_l": volume_l},
        ),
        Figure(ceiling.most, "g/L", ceiling.words, ceiling.source),
        ceiling.words,
    )


def bounds_broken(
    ceilings: Sequence[Ceiling], grams_l: Floats, volume_l: Figure
) -> tuple[Bound, ...]:
    """The ceilings, advice too, that some amounts go beyond.

    Parameters
    ----------
    ceilings : sequence of Ceiling
    grams_l : ndarray
        Feeds by jars, at least 0 [g/L].
    volume_l : Figure
        Of the must, above 0 [L].

    Returns
    -------
    tuple of Bound
    """
    return _where(ceilings, grams_l, volume_l, lambda amount, most: amount > most * BROKEN)


def bounds_touched(
    ceilings: Sequence[Ceiling], grams_l: Floats, volume_l: Figure
) -> tuple[Bound, ...]:
    """The ceilings that some amounts go right up to, and not beyond.

    Parameters
    ----------
    ceilings : sequence of Ceiling
    grams_l : ndarray
        Feeds by jars, at least 0 [g/L].
    volume_l : Figure
        Of the must, above 0 [L].

    Returns
    -------
    tuple of Bound
    """
    return _where(
        ceilings,
        grams_l,
        volume_l,
        lambda amount, most: amount > 0 and most * TOUCHED <= amount <= most * BROKEN,
    )


def _where(
    ceilings: Sequence[Ceiling],
    grams_l: Floats,
    volume_l: Figure,
    holds: Callable[[float, float], bool],
) -> tuple[Bound, ...]:
    amounts = [(one, amount_g_l(one, grams_l)) for one in ceilings]
    return tuple(bound(one, amount, volume_l) for one, amount in amounts if holds(amount, one.most))
