"""May the tasting stop now: a triangle answered glass by glass until it is decided.

Wald's two lines: after each answer the count of right ones is above the upper line (a difference),
below the lower (none that matters) or between them (go on). Few tasters can each answer several
times on several days; nobody has to drink more than it takes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from mustwright.errors import InputError
from mustwright.learning.d_prime import GUESSING, check_counts, check_test
from mustwright.texts import say

LEVEL, RISK, SHARE = 0.05, 0.10, 0.5
MOST_ANSWERS = 60  # nobody goes on longer; the panel is then undecided


@dataclass(frozen=True)
class SequentialLines:
    """Upper and lower line: ``intercept + slope * answers`` right answers.

    Parameters
    ----------
    slope, upper, lower : float
        Slope of both, and intercepts [right answers].
    """

    slope: float
    upper: float
    lower: float

    def verdict(self, answers: int, correct: int) -> str:
        """ "different", "alike" or "go on" after so many answers."""
        check_counts(answers, correct)
        if correct >= self.upper + self.slope * answers - 1e-9:
            return "different"
        if correct <= self.lower + self.slope * answers + 1e-9:
            return "alike"
        return "go on"


@dataclass(frozen=True)
class SequentialCourse:
    """What the lines do in the long run, worked out exactly up to `MOST_ANSWERS`.

    Parameters
    ----------
    different, alike, undecided : float
        Chances of each ending [-].
    answers : float
        Mean number of answers [-].
    """

    different: float
    alike: float
    undecided: float
    answers: float


def sequential_lines(
    test: str = "triangle", share: float = SHARE, alpha: float = LEVEL, beta: float = RISK
) -> SequentialLines:
    """Wald's lines for a share of tasters who can tell.

    Parameters
    ----------
    test : {"triangle", "duo-trio", "tetrad", "paired"}
    share : float
        Share who can tell that is to be found, over 0 and under 1 [-].
    alpha, beta : float
        Risk of finding a difference that is none, and of missing this one, 0 to 0.5 [-].

    Returns
    -------
    SequentialLines

    Raises
    ------
    InputError
        For a test, share or risk that cannot be.

    Notes
    -----
    With ``p0`` the share of guessing and ``p1 = p0 + share (1 - p0)``: the log likelihood ratio
    stays between ``log(beta / (1 - alpha))`` and ``log((1 - beta) / alpha)`` (Wald1945, ISO16820).
    """
    check_test(test)
    for name, value, end in (("share", share, 1.0), ("alpha", alpha, 0.5), ("beta", beta, 0.5)):
        if not 0 < value < end:
            raise InputError(name, say("over 0 and under {end:g}", end=end), value)
    guess = GUESSING[test]
    told = guess + share * (1 - guess)
    right, wrong = math.log(told / guess), math.log((1 - guess) / (1 - told))
    whole = right + wrong
    return SequentialLines(
        wrong / whole, math.log((1 - beta) / alpha) / whole, math.log(beta / (1 - alpha)) / whole
    )


def sequential_course(lines: SequentialLines, test: str, share: float) -> SequentialCourse:
    """Chances and mean length if a share of tasters can tell.

    Parameters
    ----------
    lines : SequentialLines
    test : {"triangle", "duo-trio", "tetrad", "paired"}
    share : float
        0 to 1 [-]; at 0 `different` is the true level, else the power.

    Returns
    -------
    SequentialCourse
    """
    check_test(test)
    right = GUESSING[test] + share * (1 - GUESSING[test])
    chance = np.ones(1)  # by count of right answers, among those that go on
    different = alike = mean = 0.0
    for answers in range(1, MOST_ANSWERS + 1):
        mean += float(chance.sum())
        chance = np.append(chance * (1 - right), 0.0) + np.append(0.0, chance * right)
        for correct in np.flatnonzero(chance):
            ending = lines.verdict(answers, int(correct))
            different += float(chance[correct]) if ending == "different" else 0.0
            alike += float(chance[correct]) if ending == "alike" else 0.0
            chance[correct] = chance[correct] if ending == "go on" else 0.0
    return SequentialCourse(different, alike, float(chance.sum()), mean)
