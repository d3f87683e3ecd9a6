"""Did the one thing that differed make the difference: exact randomisation tests for few vessels.

The vessels got their arm by lot. If the arm changes nothing, every other draw of the lot would have
shown the same figures under other names: the answer is the share of draws that look at least as
extreme. No distribution is assumed, and no count of vessels is too small to be told what it can
show.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mustwright.errors import InputError
from mustwright.texts import say

CONFIDENCE = 0.95
EXACT_DRAWS = 200_000  # more ways of drawing the lot than this are sampled
_SEED = 4120

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class TrialEffect:
    """What two arms showed.

    Parameters
    ----------
    effect : float
        Mean of the second arm less mean of the first, in the unit of what was measured.
    p_greater, p_less, p_two_sided : float
        Share of draws with an effect at least as large, at most as large, and at least as far from
        zero [-].
    low, high : float or None
        Ends of the interval; None where so few vessels give no end.
    confidence : float
        What the interval really holds [-]: as asked for, or the most that this layout reaches.
    smallest_p : float
        Smallest one-sided p that this layout can reach [-].
    spread : float or None
        Standard deviation between vessels of one arm (or half that of paired differences, over
        sqrt 2), in the same unit; None where no arm has two vessels.
    exact : bool
        False where the draws were sampled.
    """

    effect: float
    p_greater: float
    p_less: float
    p_two_sided: float
    low: float | None
    high: float | None
    confidence: float
    smallest_p: float
    spread: float | None
    exact: bool

    @property
    def p_one_sided(self) -> float:
        """In the direction that was seen [-]."""
        return self.p_greater if self.effect > 0 else self.p_less


def arms_effect(
    first: Sequence[float], second: Sequence[float], confidence: float = CONFIDENCE
) -> TrialEffect:
    """Two arms of one split must.

    Parameters
    ----------
    first, second : sequence of float
        One figure a vessel, at least one in each arm [any unit].
    confidence : float
        Of the interval, over 0 and under 1 [-].

    Returns
    -------
    TrialEffect

    Raises
    ------
    InputError
        For an empty arm, or a figure that is no number.

    Notes
    -----
    The interval holds every shift that the test, one-sided at ``(1 - confidence) / 2`` each way,
    does not reject. A draw ``w`` bounds the shift at ``(T - T_w) / (1 - c_w)``, with ``c_w`` the
    share of the second arm that stays less the share that leaves it; the ends are order statistics
    of these (Edgington1995).

    Examples
    --------
    >>> r = arms_effect([9.0, 10.0], [6.0, 7.0])
    >>> r.effect, round(r.p_one_sided, 3), r.low is None
    (-3.0, 0.167, False)
    """
    _check_confidence(confidence)
    if not len(first) or not len(second):
        raise InputError("values", say("at least one vessel in each arm"), say("an empty arm"))
    values = np.array([*first, *second], float)
    _check_finite(values)
    draws, exact = _draws(values.size, len(second))
    means = _mean_difference(values, draws)
    seen = float(np.mean(second) - np.mean(first))
    own = np.zeros(values.size, bool)
    own[len(first) :] = True
    stays = draws[:, own].sum(axis=1)
    kept = stays / len(second) - (len(second) - stays) / len(first)
    return _effect(means, seen, kept, confidence, exact, _pooled_spread(first, second))


def paired_effect(differences: Sequence[float], confidence: float = CONFIDENCE) -> TrialEffect:
    """Several musts, each split in two: second vessel less first.

    Parameters
    ----------
    differences : sequence of float
        One a must, at least one [any unit].
    confidence : float
        Over 0 and under 1 [-].

    Returns
    -------
    TrialEffect

    Notes
    -----
    The lot decided the sign of each difference: ``2^n`` draws.

    Examples
    --------
    >>> paired_effect([1.0, 2.0, 1.5, 0.5, 1.0]).p_one_sided
    0.03125
    """
    _check_confidence(confidence)
    d = np.array(differences, float)
    if not d.size:
        raise InputError("values", say("at least one pair"), 0)
    _check_finite(d)
    signs, exact = _signs(d.size)
    means = (signs * d).mean(axis=1)
    spread = float(d.std(ddof=1)) / math.sqrt(2) if d.size > 1 else None
    return _effect(means, float(d.mean()), signs.mean(axis=1), confidence, exact, spread)


def several_arms_p(values: Sequence[float], arms: Sequence[int], seed: int = 1) -> float:
    """Three arms or more: do they differ at all?

    Parameters
    ----------
    values : sequence of float
        One figure a vessel [any unit].
    arms : sequence of int
        The arm of each.
    seed : int
        Of the draws, where there are too many to go through.

    Returns
    -------
    float
        Share of draws whose arms lie at least as far apart [-].

    Raises
    ------
    InputError
        For fewer than two arms, or a figure that is no number.
    """
    y, arm = np.array(values, float), np.unique(arms, return_inverse=True)[1]
    if y.size != arm.size or arm.max(initial=0) < 1:
        raise InputError("values", say("one figure a vessel, at least two arms"), len(values))
    _check_finite(y)
    sizes = np.bincount(arm)
    ways = _ways(sizes)
    if ways <= EXACT_DRAWS:
        labels = np.array(list(_labellings([int(n) for n in sizes])))
    else:
        random = np.random.Generator(np.random.Philox(seed))
        labels = random.permuted(np.tile(arm, (20_000, 1)), axis=1)
        labels = np.vstack([arm, labels])
    between = _between(y, labels, sizes)
    seen = _between(y, arm[None, :], sizes)[0]
    return float(np.mean(between >= seen - 1e-9 * max(abs(seen), 1.0)))


def _ways(sizes: Any) -> int:
    ways, left = 1, int(sum(sizes))
    for size in sizes:
        ways *= math.comb(left, int(size))
        left -= int(size)
    return ways


def _labellings(sizes: list[int]) -> list[list[int]]:
    """Every way of dealing vessels to arms of these sizes."""
    total = sum(sizes)
    if total == 0:
        return [[]]
    found = []
    for arm, size in enumerate(sizes):
        if size:
            rest = [*sizes[:arm], size - 1, *sizes[arm + 1 :]]
            found += [[arm, *after] for after in _labellings(rest)]
    return found


def _between(y: Floats, labels: NDArray[np.int64], sizes: NDArray[np.int64]) -> Floats:
    sums = np.stack([(labels == arm) @ y for arm in range(sizes.size)], axis=1)
    return np.asarray((sums**2 / sizes).sum(axis=1))


def _draws(vessels: int, second: int) -> tuple[NDArray[np.bool_], bool]:
    """Which vessels get the second arm, a row a draw; sampled where there are too many."""
    ways = math.comb(vessels, second)
    if ways <= EXACT_DRAWS:
        chosen = np.array(list(combinations(range(vessels), second)))
        rows = np.zeros((ways, vessels), bool)
        rows[np.arange(ways)[:, None], chosen] = True
        return rows, True
    random = np.random.Generator(np.random.Philox(_SEED))
    start = np.arange(vessels) >= vessels - second
    rows = random.permuted(np.tile(start, (EXACT_DRAWS // 4, 1)), axis=1)
    return np.vstack([start, rows]), False


def _signs(pairs: int) -> tuple[Floats, bool]:
    if 2**pairs <= EXACT_DRAWS:
        return np.array(list(product((1.0, -1.0), repeat=pairs))), True
    random = np.random.Generator(np.random.Philox(_SEED))
    rows = random.choice((1.0, -1.0), (EXACT_DRAWS // 4, pairs))
    return np.vstack([np.ones(pairs), rows]), False


def _mean_difference(values: Floats, draws: NDArray[np.bool_]) -> Floats:
    second = draws.sum(axis=1)
    sums = draws @ values
    return np.asarray(sums / second - (values.sum() - sums) / (values.size - second))


def _effect(
    means: Floats, seen: float, kept: Floats, confidence: float, exact: bool, spread: float | None
) -> TrialEffect:
    slack = 1e-9 * max(float(np.abs(means).max()), 1e-9)
    above = float(np.mean(means >= seen - slack))
    below = float(np.mean(means <= seen + slack))
    both = float(np.mean(np.abs(means) >= abs(seen) - slack))
    least = 1 / means.size
    low, high, held = _interval(means, seen, kept, confidence)
    return TrialEffect(seen, above, below, both, low, high, held, least, spread, exact)


def _interval(
    means: Floats, seen: float, kept: Floats, confidence: float
) -> tuple[float | None, float | None, float]:
    other = kept < 1 - 1e-9
    bounds = np.sort((seen - means[other]) / (1 - kept[other]))
    if not bounds.size:
        return None, None, 0.0
    tail = (1 - confidence) / 2
    outside = max(math.floor(tail * means.size + 1e-9), 1)
    held = 1 - 2 * outside / means.size
    if held <= 0:
        return None, None, 0.0
    return float(bounds[outside - 1]), float(bounds[-outside]), held


def _pooled_spread(first: Sequence[float], second: Sequence[float]) -> float | None:
    freedom = len(first) + len(second) - 2
    if freedom < 1:
        return None
    squares = sum(float(((np.array(a) - np.mean(a)) ** 2).sum()) for a in (first, second))
    return math.sqrt(squares / freedom)


def _check_confidence(confidence: float) -> None:
    if not 0 < confidence < 1:
        raise InputError("confidence", say("over 0 and under 1"), confidence)


def _check_finite(values: Floats) -> None:
    if not np.isfinite(values).all():
        raise InputError("values", say("numbers"), str(values[~np.isfinite(values)][0]))
