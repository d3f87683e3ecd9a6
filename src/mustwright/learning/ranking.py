"""Did the panel rank the meads alike: Friedman and Page, exactly, for a handful of tasters.

Under "no difference" every taster's ranks are shuffled at random among the meads. The distribution
of the rank sums follows taster by taster; sums that differ only in the order of the meads are as
likely as each other, so that one sorted row stands for all of them. Ties keep their own ranks and
are shuffled as they are: no correction is needed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import permutations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mustwright.errors import InputError
from mustwright.texts import say

LEVEL = 0.05
FEWEST_PRODUCTS, MOST_PRODUCTS = 3, 8
MOST_RANKERS = 100
EXACT_SUMS = 12_000_000  # rank sums looked at in all: about two seconds; more are simulated
DRAWS = 200_000
_SEED = 8587
EXACT = say("exact permutation")
SIMULATED = say("simulated permutation, {draws} draws", draws=DRAWS)

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RankingResult:
    """What a panel's ranks show.

    Parameters
    ----------
    tasters, products : int
    rank_sums : tuple of float
        By product.
    friedman : float
        Friedman's statistic, corrected for ties [-].
    critical : float or None
        Smallest attainable value at the level; None where none reaches it.
    p : float
        Chance of a statistic at least as large without any difference [-].
    page_l : float
        Page's L for a rise in the order of the columns [-].
    page_p : float
        Chance of an L at least as large without any difference [-]; always exact.
    least_difference : float
        Least significant difference of two rank sums at 5 % (ISO 8587), read only where `p` is
        below the level.
    method : str
        How `p` and `critical` were found.
    """

    tasters: int
    products: int
    rank_sums: tuple[float, ...]
    friedman: float
    critical: float | None
    p: float
    page_l: float
    page_p: float
    least_difference: float
    method: str


def judge_ranking(ranks: Sequence[Sequence[float]], alpha: float = LEVEL) -> RankingResult:
    """Friedman's and Page's test of a table of ranks.

    Parameters
    ----------
    ranks : sequence of sequence of float
        One row a taster, one column a product: 3 to 8 products, 2 to 100 tasters. Ranks 1 to the
        number of products [-]; equal ones are tied and share their mean rank.
    alpha : float
        Level, over 0 and under 1 [-].

    Returns
    -------
    RankingResult

    Raises
    ------
    InputError
        For a table that is no ranking.

    Notes
    -----
    ``F = 12 sum (R_j - R)^2 / (n k (k+1) - sum (t^3 - t) / (k-1))`` with rank sums ``R_j``, their
    mean ``R`` and ``t`` the sizes of ties; ``L = sum j R_j``; least significant difference
    ``1.96 sqrt(n k (k+1) / 6)`` (ISO8587). ISO 8587 itself takes a normal approximation for L; here
    L is exact.

    Examples
    --------
    >>> r = judge_ranking([[1, 2, 3], [1, 2, 3], [1, 3, 2], [1, 2, 3]])
    >>> round(r.friedman, 2), r.critical, round(r.p, 4)
    (6.5, 6.5, 0.0417)
    """
    if not 0 < alpha < 1:
        raise InputError("alpha", say("over 0 and under 1"), alpha)
    doubled = _doubled(ranks)
    tasters, products = doubled.shape
    sums = doubled.sum(axis=0)
    scale = _scale(doubled)
    square = int((sums**2).sum())
    values, chance, method = _distribution(doubled)
    tail = np.cumsum(chance[::-1])[::-1]
    p = float(np.append(tail, 0.0)[np.searchsorted(values, square)])
    if method == SIMULATED:
        p = (p * DRAWS + 1) / (DRAWS + 1)  # the panel's own table is one of its shuffles
    reached = np.flatnonzero(tail <= alpha * (1 + 1e-9))
    base = _smallest_square(tasters, products)
    critical = (int(values[reached[0]]) - base) * scale if reached.size and scale else None
    page_l, page_p = _page(doubled)
    return RankingResult(
        tasters,
        products,
        tuple(float(s) / 2 for s in sums),
        float((square - base) * scale),
        None if critical is None else float(critical),
        min(p, 1.0),
        page_l,
        page_p,
        1.96 * math.sqrt(tasters * products * (products + 1) / 6),
        method,
    )


def critical_friedman(tasters: int, products: int, alpha: float = LEVEL) -> float | None:
    """Smallest attainable Friedman statistic at a level, without ties.

    Parameters
    ----------
    tasters : int
        2 to 100.
    products : int
        3 to 8.
    alpha : float
        Level, over 0 and under 1 [-].

    Returns
    -------
    float or None
        Statistic [-]; None where no value reaches the level.

    Raises
    ------
    InputError
        For a table or level that cannot be.
    """
    return judge_ranking([range(1, products + 1)] * tasters, alpha).critical


def page_tail(tasters: int, products: int) -> tuple[NDArray[np.float64], Floats]:
    """Every value of Page's L without ties, and the chance of reaching it.

    Parameters
    ----------
    tasters : int
        1 to 100.
    products : int
        3 to 8.

    Returns
    -------
    values, p : ndarray
    """
    rows = np.tile(2 * np.arange(1, products + 1), (tasters, 1))
    start, chance = _page_distribution(rows)
    values = (start + np.arange(chance.size)) / 2
    seen = chance > 0
    return values[seen], np.cumsum(chance[::-1])[::-1][seen]


def _doubled(ranks: Sequence[Sequence[float]]) -> Ints:
    """Twice the mean ranks, whole numbers; checked."""
    from scipy.stats import rankdata

    if not 2 <= len(ranks) <= MOST_RANKERS:
        raise InputError(
            "ranks",
            say("2 to {most} tasters, one row each", most=MOST_RANKERS),
            len(ranks),
        )
    products = len(ranks[0])
    if not FEWEST_PRODUCTS <= products <= MOST_PRODUCTS:
        need = say(
            "{fewest} to {most} products, one column each",
            fewest=FEWEST_PRODUCTS,
            most=MOST_PRODUCTS,
        )
        raise InputError("ranks", need, products)
    for place, row in enumerate(ranks, 1):
        if len(row) != products:
            raise InputError(
                f"ranks, taster {place}",
                say("{products} ranks", products=products),
                len(row),
            )
        if not all(1 <= rank <= products for rank in row):
            shown = ", ".join(f"{rank:g}" for rank in row)
            raise InputError(
                f"ranks, taster {place}",
                say("ranks from 1 to {products}", products=products),
                shown,
            )
    return np.asarray(np.rint(2 * rankdata(np.asarray(ranks, float), axis=1)), np.int64)


def _smallest_square(tasters: int, products: int) -> int:
    """Sum of squares of the doubled rank sums where all are equal."""
    return tasters**2 * products * (products + 1) ** 2


def _scale(doubled: Ints) -> float:
    """From sums of squares of doubled rank sums to Friedman's statistic; 0 where all is tied."""
    tasters, products = doubled.shape
    ties = sum(int((np.unique(row, return_counts=True)[1] ** 3).sum()) - products
               for row in doubled)  # fmt: skip
    bottom = tasters * products * (products + 1) - ties / (products - 1)
    return 12 / bottom / 4 if bottom > 1e-9 else 0.0


def _distribution(doubled: Ints) -> tuple[Ints, Floats, str]:
    """Sums of squares of the doubled rank sums, rising, their chances, and how they were found."""
    key = tuple(sorted(tuple(sorted(int(r) for r in row)) for row in doubled))
    return _distribution_of(key)


@cache
def _distribution_of(key: tuple[tuple[int, ...], ...]) -> tuple[Ints, Floats, str]:
    found = _rank_sums(key)
    if found is None:
        return _simulated(key)
    states, chance, _ = found
    values, back = np.unique((states**2).sum(axis=1), return_inverse=True)
    return values, np.asarray(np.bincount(back, chance), float), EXACT


@lru_cache(maxsize=MOST_RANKERS)
def _rank_sums(key: tuple[tuple[int, ...], ...]) -> tuple[Ints, Floats, int] | None:
    """Sorted rank sums of these tasters, their chances, and how many sums were looked at for it.

    None where that would be more than `EXACT_SUMS`. Fewer tasters of the same table come first and
    are kept, so that a table with one taster more costs one taster more.
    """
    if len(key) == 1:
        return np.array(key, np.int64), np.ones(1), 0
    before = _rank_sums(key[:-1])
    if before is None:
        return None
    states, chance, looked_at = before
    shuffled = _shuffles(key[-1])
    looked_at += states.shape[0] * shuffled.shape[0]
    if looked_at > EXACT_SUMS:
        return None
    return *_next_sums(states, chance, shuffled), looked_at


@cache
def _shuffles(row: tuple[int, ...]) -> Ints:
    """Distinct orders of one taster's ranks (all as likely)."""
    return np.array(sorted(set(permutations(row))), np.int64)


def _next_sums(states: Ints, chance: Floats, shuffled: Ints) -> tuple[Ints, Floats]:
    """Sorted rank sums with one more taster."""
    products = states.shape[1]
    small = states.astype(np.int16)[:, None, :] + shuffled.astype(np.int16)[None, :, :]
    after = np.sort(small.reshape(-1, products), axis=1)
    base = int(after.max()) + 1
    powers = base ** np.arange(products - 1)  # the last sum follows from the total
    code, back = np.unique(after[:, :-1].astype(np.int64) @ powers, return_inverse=True)
    first = code[:, None] // powers % base
    total = int(states[0].sum() + shuffled[0].sum())
    share = np.repeat(chance / shuffled.shape[0], shuffled.shape[0])
    return np.column_stack([first, total - first.sum(axis=1)]), np.asarray(
        np.bincount(back, share), float
    )


def _simulated(key: tuple[tuple[int, ...], ...]) -> tuple[Ints, Floats, str]:
    """The same by shuffling, seeded."""
    random = np.random.Generator(np.random.Philox(_SEED))
    sums = np.zeros((DRAWS, len(key[0])), np.int64)
    for row in key:
        sums += random.permuted(np.tile(np.array(row), (DRAWS, 1)), axis=1)
    values, counts = np.unique((sums**2).sum(axis=1), return_counts=True)
    return values.astype(np.int64), np.asarray(counts / DRAWS, float), SIMULATED


def _page(doubled: Ints) -> tuple[float, float]:
    """Page's L for the order of the columns, and its exact p."""
    place = np.arange(1, doubled.shape[1] + 1)
    seen = int((doubled @ place).sum())
    start, chance = _page_distribution(doubled)
    return seen / 2, min(float(chance[seen - start :].sum()), 1.0)


def _page_distribution(doubled: Ints) -> tuple[int, Floats]:
    """Least value of twice L, and the chances from there on: a sum of independent tasters."""
    start, chance = 0, np.ones(1, float)
    for row in doubled:
        least, own = _page_of_one(tuple(sorted(int(r) for r in row)))
        start += least
        chance = np.asarray(np.convolve(chance, own), float)
    return start, chance


@cache
def _page_of_one(row: tuple[int, ...]) -> tuple[int, Any]:
    value = _shuffles(row) @ np.arange(1, len(row) + 1)
    least = int(value.min())
    return least, np.bincount(value - least) / value.size
