"""How far apart do two meads taste: d-prime, its standard error and its interval.

d-prime is the distance between two meads on the one scale a taster judges by, in standard
deviations of that judgement (Thurstone's model). Each way of asking turns it into another share of
right answers; the functions here go both ways.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mustwright.errors import InputError
from mustwright.texts import say

TESTS = ("triangle", "paired", "duo-trio", "tetrad")
# Share of right answers of somebody who tastes no difference and has to name a glass.
GUESSING = {"triangle": 1 / 3, "paired": 1 / 2, "duo-trio": 1 / 2, "tetrad": 1 / 3}
LARGEST = 12.0  # d-prime beyond which every share of right answers is 1 in double precision
_NODES = 120


@dataclass(frozen=True)
class DPrime:
    """What a count of right answers says of the distance.

    Parameters
    ----------
    value : float or None
        Estimate [-]; None where all were right: any large distance fits equally well.
    se : float or None
        Standard error [-]; None at or below guessing and where all were right.
    low, high : float or None
        Ends of the interval [-]; `high` is None where there is no upper end.
    """

    value: float | None
    se: float | None
    low: float
    high: float | None


def check_test(test: str) -> None:
    """Raise unless a test is one of `TESTS`."""
    if test not in TESTS:
        raise InputError("test", say("one of {known}", known=", ".join(TESTS)), test)


def correct_share_from_d_prime(test: str, d_prime: float) -> float:
    """Share of right answers at a distance.

    Parameters
    ----------
    test : {"triangle", "paired", "duo-trio", "tetrad"}
    d_prime : float
        -12 to 12 for a paired comparison, 0 to 12 else [-].

    Returns
    -------
    float
        Share of right answers [-].

    Raises
    ------
    InputError
        For a test that is none of these.

    Notes
    -----
    Paired: ``Phi(d/sqrt 2)``. Duo-trio: ``1 - a - b + 2 a b`` with ``a = Phi(d/sqrt 2)``,
    ``b = Phi(d/sqrt 6)``. Triangle: ``2 int_0^inf (Phi(-x sqrt 3 + d sqrt(2/3)) + Phi(-x sqrt 3 -
    d sqrt(2/3))) phi(x) dx``. Tetrad: ``1 - 2 int phi(x) (2 Phi(x) Phi(x-d) - Phi(x-d)^2) dx``
    (Ennis1993, EnnisJesionka2011; the first three agree with the printed values in
    ``tests/reference``).

    Examples
    --------
    >>> round(correct_share_from_d_prime("triangle", 1.5), 4)
    0.5065
    """
    check_test(test)
    return _SHARES[test](float(d_prime))


def d_prime_from_correct_share(test: str, share: float) -> float:
    """Distance at which a share of answers is right.

    Parameters
    ----------
    test : {"triangle", "paired", "duo-trio", "tetrad"}
    share : float
        0 to 1 [-]; at or below guessing gives 0, save in a paired comparison, where it is negative.

    Returns
    -------
    float
        d-prime [-]; infinite for a share of 1.

    Examples
    --------
    >>> round(d_prime_from_correct_share("duo-trio", 0.7), 4)
    1.7153
    """
    from scipy.optimize import brentq
    from scipy.special import ndtri

    check_test(test)
    if not 0 <= share <= 1:
        raise InputError("share", say("0 to 1"), share)
    if test == "paired":
        return float(math.sqrt(2) * ndtri(share))
    if share <= GUESSING[test]:
        return 0.0
    if share >= correct_share_from_d_prime(test, LARGEST):
        return math.inf
    return float(brentq(lambda d: correct_share_from_d_prime(test, d) - share, 0, LARGEST))


def d_prime(test: str, tasters: int, correct: int, confidence: float = 0.95) -> DPrime:
    """d-prime of a panel, with its standard error and an interval.

    Parameters
    ----------
    test : {"triangle", "paired", "duo-trio", "tetrad"}
    tasters : int
        Answers, 1 or more.
    correct : int
        Right ones, 0 to `tasters`.
    confidence : float
        Of the interval, over 0 and under 1 [-].

    Returns
    -------
    DPrime

    Raises
    ------
    InputError
        For counts or a test that cannot be.

    Notes
    -----
    The standard error is that of the share, ``sqrt(p (1-p) / n)``, over the slope of the share at
    the estimate (delta method, ASTM2262). The interval is the exact binomial one
    of the share (Clopper and Pearson), carried over: it holds at least as often as it says, also
    for a handful of tasters.
    """
    from scipy.stats import binomtest

    check_counts(tasters, correct)
    share = correct / tasters
    value = d_prime_from_correct_share(test, share)
    found = binomtest(correct, tasters).proportion_ci(confidence, "exact")
    low, high = (d_prime_from_correct_share(test, float(end)) for end in (found.low, found.high))
    finite = math.isfinite(value)
    floor = -LARGEST if test == "paired" else 0.0
    return DPrime(
        value if finite else None,
        _standard_error(test, value, share, tasters) if finite else None,
        max(low, floor),
        high if math.isfinite(high) else None,
    )


def check_counts(tasters: int, correct: int) -> None:
    """Raise unless ``1 <= tasters`` and ``0 <= correct <= tasters``."""
    if not 1 <= tasters <= 10_000:
        raise InputError("tasters", say("1 to 10000"), tasters)
    if not 0 <= correct <= tasters:
        raise InputError(
            "correct", say("0 to {tasters}, the number of tasters", tasters=tasters), correct
        )


def _standard_error(test: str, value: float, share: float, tasters: int) -> float | None:
    if value <= 0 and test != "paired":
        return None  # the curve is level there: nothing is known of the distance but that it is low
    step = 1e-4
    rise = correct_share_from_d_prime(test, value + step)
    slope = (rise - correct_share_from_d_prime(test, value - step)) / (2 * step)
    return math.sqrt(share * (1 - share) / tasters) / slope


def _normal(x: Any) -> Any:
    from scipy.special import ndtr

    return ndtr(x)


@cache
def _nodes() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points and weights of an integral against the normal density from -8 to 8."""
    x, weight = np.polynomial.legendre.leggauss(_NODES)
    x, weight = 8.0 * x, 8.0 * weight
    return x, weight * np.exp(-0.5 * x**2) / math.sqrt(2 * math.pi)


@cache
def _half_nodes() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The same from 0 to 8."""
    x, weight = np.polynomial.legendre.leggauss(_NODES)
    x, weight = 4.0 * (x + 1.0), 4.0 * weight
    return x, weight * np.exp(-0.5 * x**2) / math.sqrt(2 * math.pi)


def _paired(d: float) -> float:
    return float(_normal(d / math.sqrt(2)))


def _duo_trio(d: float) -> float:
    a, b = float(_normal(d / math.sqrt(2))), float(_normal(d / math.sqrt(6)))
    return 1 - a - b + 2 * a * b


def _triangle(d: float) -> float:
    x, weight = _half_nodes()
    root, apart = x * math.sqrt(3), d * math.sqrt(2 / 3)
    return float(2 * (weight * (_normal(-root + apart) + _normal(-root - apart))).sum())


def _tetrad(d: float) -> float:
    x, weight = _nodes()
    below = _normal(x - d)
    return float(1 - 2 * (weight * (2 * _normal(x) * below - below**2)).sum())


_SHARES: dict[str, Callable[[float], float]] = {
    "triangle": _triangle,
    "paired": _paired,
    "duo-trio": _duo_trio,
    "tetrad": _tetrad,
}
