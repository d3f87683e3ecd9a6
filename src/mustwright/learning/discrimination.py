"""Can this panel tell two meads apart: what it can show before, what it has shown after.

Everything is the binomial distribution itself, no approximation: a home panel is small. Critical
numbers of ISO 4120 (triangle), ISO 5495 (paired) and ISO 10399 (duo-trio) are binomial too.
"""

from __future__ import annotations

from dataclasses import dataclass

from mustwright.errors import InputError
from mustwright.learning.d_prime import GUESSING, DPrime, check_counts, check_test, d_prime
from mustwright.texts import say

LEVEL = 0.05
SHARES = (0.3, 0.5, 0.7)  # shares of tasters who can tell for which a plan says its power
AIM_POWER, AIM_SHARE = 0.8, 0.5  # a recommended panel finds it 8 times in 10 if half can tell
MOST_TASTERS = 200  # beyond this no home panel is recommended
SIDES = ("one", "two")
METHOD = say("exact binomial")


@dataclass(frozen=True)
class PanelPlan:
    """What a panel of this size can show.

    Parameters
    ----------
    test, sided : str
    tasters : int
    alpha : float
        Level asked for [-].
    critical : int or None
        Right answers from which a difference is shown; None where no count reaches the level.
    true_alpha : float
        Chance of finding a difference where there is none [-], at most `alpha`.
    power : dict of float to float
        Chance of finding a difference, by share of tasters who can tell [-].
    recommended_tasters : int or None
        Smallest panel with a power of `AIM_POWER` where `AIM_SHARE` can tell; None beyond
        `MOST_TASTERS`.
    best_of_these : int or None
        Panel of at most `tasters` with the most power: power does not rise with every taster. None
        where no such panel can show anything.
    """

    test: str
    sided: str
    tasters: int
    alpha: float
    critical: int | None
    true_alpha: float
    power: dict[float, float]
    recommended_tasters: int | None
    best_of_these: int | None


@dataclass(frozen=True)
class PanelResult:
    """What a count of right answers shows.

    Parameters
    ----------
    p : float
        Chance of this many right answers or more from guessing [-].
    d_prime : DPrime
    share_low, share_high : float
        95 % interval of the share of tasters who can tell [-].
    """

    test: str
    sided: str
    tasters: int
    correct: int
    p: float
    d_prime: DPrime
    share_low: float
    share_high: float


@dataclass(frozen=True)
class Similarity:
    """Can a panel show that two meads are alike?

    Parameters
    ----------
    most_correct : int or None
        At most this many right answers show it; None where not even 0 would.
    possible : bool
        False where `most_correct` is under what guessing alone gives.
    message : str
        One sentence for the maker.
    """

    most_correct: int | None
    possible: bool
    message: str


def default_sides(test: str) -> str:
    """Two-sided where either mead may be picked (paired), one-sided where one answer is right."""
    return "two" if test == "paired" else "one"


def p_value(test: str, tasters: int, correct: int, sided: str | None = None) -> float:
    """Chance of a result at least as far from guessing.

    Parameters
    ----------
    test : {"triangle", "paired", "duo-trio", "tetrad"}
    tasters, correct : int
        Answers and right ones; in a paired comparison those for the one mead.
    sided : {"one", "two"} or None
        None takes `default_sides`. Two-sided is twice the smaller tail.

    Returns
    -------
    float
        p [-].

    Raises
    ------
    InputError
        For a test, side or counts that cannot be.

    Examples
    --------
    Eight of twelve right in a triangle (FAO, Appendix A: critical at 5 %):

    >>> round(p_value("triangle", 12, 8), 4)
    0.0188
    """
    from scipy.stats import binom

    sided = _checked(test, sided)
    check_counts(tasters, correct)
    chance = GUESSING[test]
    above = float(binom.sf(correct - 1, tasters, chance))
    if sided == "one":
        return min(above, 1.0)
    return min(2 * min(above, float(binom.cdf(correct, tasters, chance))), 1.0)


def critical_number(
    test: str, tasters: int, alpha: float = LEVEL, sided: str | None = None
) -> int | None:
    """Right answers from which a difference is shown at a level.

    Parameters
    ----------
    test : {"triangle", "paired", "duo-trio", "tetrad"}
    tasters : int
        1 or more.
    alpha : float
        Level, over 0 and under 1 [-].
    sided : {"one", "two"} or None

    Returns
    -------
    int or None
        None where even all right does not reach the level.

    Raises
    ------
    InputError
        For a test, side, count or level that cannot be.

    Examples
    --------
    >>> critical_number("triangle", 6), critical_number("paired", 5, sided="two")
    (5, None)
    """
    from scipy.stats import binom

    sided = _checked(test, sided)
    check_counts(tasters, 0)
    _check_level(alpha)
    tail = alpha if sided == "one" else alpha / 2
    least = int(binom.isf(tail, tasters, GUESSING[test]))
    for count in range(max(least - 1, 0), tasters + 1):
        if binom.sf(count - 1, tasters, GUESSING[test]) <= tail * (1 + 1e-12):
            return count
    return None


def power(
    test: str, tasters: int, share: float, alpha: float = LEVEL, sided: str | None = None
) -> float:
    """Chance that a panel finds a difference.

    Parameters
    ----------
    test : {"triangle", "paired", "duo-trio", "tetrad"}
    tasters : int
    share : float
        Share of tasters who can tell, 0 to 1 [-]; the others guess. At 0 this is the true level.
    alpha : float
        Level, over 0 and under 1 [-].
    sided : {"one", "two"} or None

    Returns
    -------
    float
        Power [-].

    Raises
    ------
    InputError
        For a test, side, count, share or level that cannot be.
    """
    from scipy.stats import binom

    sided = _checked(test, sided)
    if not 0 <= share <= 1:
        raise InputError("share", say("0 to 1"), share)
    critical = critical_number(test, tasters, alpha, sided)
    right = GUESSING[test] + share * (1 - GUESSING[test])
    found = float(binom.sf(critical - 1, tasters, right)) if critical is not None else 0.0
    if sided == "two":
        fewest = _lower_critical(test, tasters, alpha)
        if fewest is not None:
            found += float(binom.cdf(fewest, tasters, right))
    return found


def plan_panel(
    test: str, tasters: int, alpha: float = LEVEL, sided: str | None = None
) -> PanelPlan:
    """What this panel can show, and how many tasters would be wanted.

    Parameters
    ----------
    test : {"triangle", "paired", "duo-trio", "tetrad"}
    tasters : int
    alpha : float
        Level, over 0 and under 1 [-].
    sided : {"one", "two"} or None

    Returns
    -------
    PanelPlan

    Raises
    ------
    InputError
        For a test, side, count or level that cannot be.
    """
    sides = _checked(test, sided)
    check_counts(tasters, 0)
    by_size = [power(test, n, AIM_SHARE, alpha, sides) for n in range(1, tasters + 1)]
    return PanelPlan(
        test,
        sides,
        tasters,
        alpha,
        critical_number(test, tasters, alpha, sides),
        power(test, tasters, 0.0, alpha, sides),
        {share: power(test, tasters, share, alpha, sides) for share in SHARES},
        recommended_tasters(test, alpha, sides),
        by_size.index(max(by_size)) + 1 if max(by_size) > 0 else None,
    )


def recommended_tasters(test: str, alpha: float = LEVEL, sided: str | None = None) -> int | None:
    """Smallest panel that finds a difference 8 times in 10 where half the tasters can tell.

    Parameters
    ----------
    test : {"triangle", "paired", "duo-trio", "tetrad"}
    alpha : float
        Level, over 0 and under 1 [-].
    sided : {"one", "two"} or None

    Returns
    -------
    int or None
        None where `MOST_TASTERS` do not suffice.

    Raises
    ------
    InputError
        For a test, side or level that cannot be.
    """
    for tasters in range(1, MOST_TASTERS + 1):
        if power(test, tasters, AIM_SHARE, alpha, sided) >= AIM_POWER:
            return tasters
    return None


def judge_panel(test: str, tasters: int, correct: int, sided: str | None = None) -> PanelResult:
    """What a count of right answers shows.

    Parameters
    ----------
    test : {"triangle", "paired", "duo-trio", "tetrad"}
    tasters, correct : int
    sided : {"one", "two"} or None

    Returns
    -------
    PanelResult

    Raises
    ------
    InputError
        For a test, side or counts that cannot be.
    """
    from scipy.stats import binomtest

    sides = _checked(test, sided)
    p = p_value(test, tasters, correct, sides)
    found = binomtest(correct, tasters).proportion_ci(0.95, "exact")
    chance = GUESSING[test]
    low, high = ((float(end) - chance) / (1 - chance) for end in (found.low, found.high))
    return PanelResult(
        test, sides, tasters, correct, p, d_prime(test, tasters, correct),
        max(low, 0.0), max(high, 0.0),
    )  # fmt: skip


def similarity(test: str, tasters: int, share: float = 0.3, risk: float = LEVEL) -> Similarity:
    """Can this panel show that at most a share of tasters tells two meads apart?

    Parameters
    ----------
    test : {"triangle", "duo-trio", "tetrad"}
    tasters : int
    share : float
        Share of tasters who can tell that would matter, over 0 and under 1 [-].
    risk : float
        Accepted chance of calling meads alike that are not [-].

    Returns
    -------
    Similarity

    Raises
    ------
    InputError
        For a test, count, share or risk that cannot be.

    Examples
    --------
    >>> similarity("triangle", 12).possible
    False
    """
    from scipy.stats import binom

    check_test(test)
    check_counts(tasters, 0)
    if not 0 < share < 1:
        raise InputError("share", say("over 0 and under 1"), share)
    _check_level(risk)
    right = GUESSING[test] + share * (1 - GUESSING[test])
    counts = [k for k in range(tasters + 1) if binom.cdf(k, tasters, right) <= risk]
    most = counts[-1] if counts else None
    guessed = tasters * GUESSING[test]
    possible = most is not None and most >= guessed
    if possible:
        alike = (
            say("With {tasters} tasters only none right shows that the two are alike.",
                tasters=tasters)
            if most == 0
            else say("With {tasters} tasters at most {most} right show that the two are alike.",
                     tasters=tasters, most=most)
        )  # fmt: skip
        return Similarity(most, True, alike)
    return Similarity(most, False, _cannot_show(tasters, most, guessed))


def _cannot_show(tasters: int, most: int | None, guessed: float) -> str:
    """Why a panel cannot show that two meads are the same."""
    if most is None:
        found = say(
            "This panel cannot show that two meads are the same: with {tasters} tasters no count "
            "of right answers shows it.",
            tasters=tasters,
        )
    elif most == 0:
        found = say(
            "This panel cannot show that two meads are the same: with {tasters} tasters only none "
            "right shows it, and guessing alone gives {guessed:.0f}.",
            tasters=tasters,
            guessed=guessed,
        )
    else:
        found = say(
            "This panel cannot show that two meads are the same: with {tasters} tasters at most "
            "{most} right show it, and guessing alone gives {guessed:.0f}.",
            tasters=tasters,
            most=most,
            guessed=guessed,
        )
    return found + say(" Finding no difference is not the same as there being none.")


def _lower_critical(test: str, tasters: int, alpha: float) -> int | None:
    """Most right answers so few that a two-sided test calls them a difference."""
    from scipy.stats import binom

    counts = range(tasters + 1)
    few = [k for k in counts if binom.cdf(k, tasters, GUESSING[test]) <= alpha / 2 * (1 + 1e-12)]
    return few[-1] if few else None


def _checked(test: str, sided: str | None) -> str:
    check_test(test)
    chosen = default_sides(test) if sided is None else sided
    if chosen not in SIDES:
        raise InputError("sided", say("one or two"), chosen)
    return chosen


def _check_level(alpha: float) -> None:
    if not 0 < alpha < 1:
        raise InputError("alpha", say("over 0 and under 1"), alpha)
