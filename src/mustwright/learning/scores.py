"""Which mead do tasters like better: scores, without a belief in how scores are distributed.

Scores of one taster are only compared with that taster's own: some are generous, some are not. Two
meads go by the exact lot over the signs of the differences, more by the ranks within each taster.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mustwright.errors import InputError
from mustwright.learning.randomisation import paired_effect
from mustwright.learning.ranking import MOST_PRODUCTS, MOST_RANKERS, judge_ranking
from mustwright.texts import say

HIGHEST_SCORE = 100.0


@dataclass(frozen=True)
class ScoresResult:
    """What a panel's scores show.

    Parameters
    ----------
    tasters, products : int
    means : tuple of float
        Mean score of each product.
    p : float
        Chance of differences at least as large without any preference [-].
    difference, low, high : float or None
        Second product less first with its interval, for two products.
    confidence : float or None
        What that interval holds [-].
    method : str
    """

    tasters: int
    products: int
    means: tuple[float, ...]
    p: float
    difference: float | None
    low: float | None
    high: float | None
    confidence: float | None
    method: str


def judge_scores(scores: Sequence[Sequence[float]]) -> ScoresResult:
    """Whether a panel likes one mead better than another.

    Parameters
    ----------
    scores : sequence of sequence of float
        One row a taster, one column a product: 2 to 8 products, 2 to 100 tasters; scores from 0 to
        100, higher is better [-].

    Returns
    -------
    ScoresResult

    Raises
    ------
    InputError
        For a table that is none.

    Examples
    --------
    >>> judge_scores([[5, 7], [6, 7], [4, 7], [5, 6], [6, 9], [3, 5]]).p
    0.03125
    """
    table = _checked(scores)
    means = tuple(float(m) for m in table.mean(axis=0))
    tasters, products = table.shape
    if products == 2:
        found = paired_effect(list(table[:, 1] - table[:, 0]))
        return ScoresResult(
            tasters, 2, means, found.p_two_sided, found.effect, found.low, found.high,
            found.confidence,
            say("exact sign-flip test") if found.exact else say("sampled sign-flip test"),
        )  # fmt: skip
    from scipy.stats import rankdata

    ranked = judge_ranking(rankdata(table, axis=1).tolist())
    return ScoresResult(
        tasters, products, means, ranked.p, None, None, None, None,
        say("ranks within tasters, {method}", method=ranked.method),
    )  # fmt: skip


def _checked(scores: Sequence[Sequence[float]]) -> np.ndarray:
    if not 2 <= len(scores) <= MOST_RANKERS:
        raise InputError(
            "scores",
            say("2 to {most} tasters, one row each", most=MOST_RANKERS),
            len(scores),
        )
    products = len(scores[0])
    if not 2 <= products <= MOST_PRODUCTS:
        raise InputError(
            "scores",
            say("2 to {most} products, one column each", most=MOST_PRODUCTS),
            products,
        )
    for place, row in enumerate(scores, 1):
        if len(row) != products:
            raise InputError(
                f"scores, taster {place}",
                say("{products} scores", products=products),
                len(row),
            )
        if not all(0 <= score <= HIGHEST_SCORE for score in row):
            shown = ", ".join(f"{score:g}" for score in row)
            raise InputError(
                f"scores, taster {place}",
                say("scores from 0 to {highest:g}", highest=HIGHEST_SCORE),
                shown,
            )
    return np.asarray(scores, float)
