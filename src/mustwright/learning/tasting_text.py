"""What a panel can show and has shown, in sentences; one home for commands, pages and prints."""

from __future__ import annotations

from mustwright import data
from mustwright.learning.discrimination import LEVEL, PanelPlan, PanelResult
from mustwright.learning.ranking import RankingResult
from mustwright.learning.scores import ScoresResult
from mustwright.learning.sequential import sequential_lines
from mustwright.learning.serving_order import ServingPlan
from mustwright.learning.trial_design import TrialPlan

TASKS = {
    "triangle": "Three glasses: two hold the same mead, one another. Taste from left to right and "
    "name the odd one. If you cannot tell, guess.",
    "paired": "Two glasses. Taste from left to right and name the one that is asked for. If you "
    "cannot tell, guess.",
    "duo-trio": "First the reference, then two glasses: one holds the same mead as the reference. "
    "Name that one. If you cannot tell, guess.",
    "tetrad": "Four glasses of two meads, two of each. Sort them into two pairs. If you cannot "
    "tell, guess.",
    "ranking": "Taste from left to right, then put the glasses in order: 1 is the one with the "
    "least of what is asked for. Glasses may share a rank.",
    "scores": "Give each glass a score from 0 (I would pour it away) to 9 (I could not make it "
    "better). Taste from left to right; you may go back.",
}


def tasting_cautions() -> tuple[str, ...]:
    """What every tasting sheet says: spitting, no driving, no minors."""
    texts = data.load("cautions")
    names = ("tasting_spit", "tasting_no_driving", "tasting_no_minors")
    return tuple(str(texts[name]["text"]) for name in names)


def plan_sentences(plan: PanelPlan) -> list[str]:
    """What this panel can show, action first."""
    tasters = _tasters(plan.tasters)
    if plan.critical is None:
        lines = [
            f"With {tasters} this test cannot show a difference at {plan.alpha:.0%}, even if every "
            "answer is right."
        ]
    else:
        found = ", ".join(f"{p:.0%} if {share:.0%} can tell" for share, p in plan.power.items())
        lines = [
            f"Call it a difference from {plan.critical} right answers of {plan.tasters} on"
            + (", or from as many wrong." if plan.sided == "two" else "."),
            f"Chance of finding a difference: {found}. Chance of finding one that is not there: "
            f"{plan.true_alpha:.1%}.",
        ]
    if plan.best_of_these is not None and plan.best_of_these < plan.tasters:
        lines.append(
            f"Take {plan.best_of_these} tasters instead: they find more than {plan.tasters} do. "
            "The count of right answers moves in whole steps, so one taster more may be one too "
            "many."
        )
    if plan.recommended_tasters is not None:
        lines.append(
            f"{plan.recommended_tasters} tasters find it 8 times in 10 where half of them can tell."
        )
    return lines


def result_sentence(result: PanelResult) -> str:
    """What was shown, and how sure that is."""
    count = f"{result.correct} of {result.tasters} right, p = {p_text(result.p)}"
    if result.p <= LEVEL:
        return f"A difference is shown: {count}."
    return (
        f"No difference is shown: {count}. That does not show that the two are the same: up to "
        f"{result.share_high:.0%} of tasters may be able to tell."
    )


def distance_sentence(result: PanelResult) -> str:
    """How far apart the meads taste."""
    found = result.d_prime
    top = "no upper end" if found.high is None else f"{found.high:.1f}"
    if found.value is None:
        return f"Distance (d-prime): at least {found.low:.1f}; every answer was right."
    error = "" if found.se is None else f" +- {found.se:.1f}"
    return (
        f"Distance (d-prime): {found.value:.1f}{error}, 95 % interval {found.low:.1f} to {top}. "
        "Side by side, three of four answers are right at a distance of 1, nine of ten at 2."
    )


def ranking_sentence(result: RankingResult) -> str:
    """What the ranks show."""
    if result.p <= LEVEL:
        return (
            f"The meads are ranked apart: p = {p_text(result.p)}. Two of them differ where their "
            f"rank sums lie {result.least_difference:.1f} or more apart."
        )
    return f"No order is shown: p = {p_text(result.p)}. Rank sums differ as much by chance."


def scores_sentence(result: ScoresResult) -> str:
    """What the scores show."""
    if result.p > LEVEL:
        return f"No preference is shown: p = {p_text(result.p)}."
    best = max(range(result.products), key=result.means.__getitem__) + 1
    return f"The scores differ, p = {p_text(result.p)}; mead {best} has the highest mean."


def sequential_sentence(test: str, answers: int, correct: int) -> str:
    """Go on or stop, of a test answered glass by glass.

    Parameters
    ----------
    test : {"triangle", "paired", "duo-trio", "tetrad"}
    answers, correct : int
        So far.

    Returns
    -------
    str
        One or two sentences.
    """
    verdict = sequential_lines(test).verdict(answers, correct)
    said = {
        "different": "Stop: a difference is shown.",
        "alike": "Stop: fewer than half of the tasters can tell, if any.",
        "go on": "Go on: not decided yet.",
    }
    return f"{said[verdict]} {correct} of {answers} right so far."


def balance_sentence(plan: ServingPlan) -> str:
    """Whether the orders are balanced."""
    if plan.balanced:
        return "Balanced: no mead is favoured by its place or its neighbours."
    if plan.tasters_for_balance is None:
        return "As even as could be found; not every pair of meads meets equally often."
    return f"As even as this many tasters allow; {plan.tasters_for_balance} would balance it."


def trial_sentences(plan: TrialPlan) -> list[str]:
    """What a trial of this layout can show."""
    lines = [plan.message]
    if plan.arms == 2:
        lines.append(
            "That counts where you say beforehand which arm should come out higher; else p is "
            "twice as large."
        )
    if plan.spread_assumed:
        lines.append(
            "How much your vessels of one must differ is not known yet, so differences are "
            "given in "
            "multiples of that spread. Your own trials will show it."
        )
    return lines


def p_text(p: float) -> str:
    """A probability with two figures, never as nought."""
    return "below 0.0001" if p < 0.0001 else f"{p:.2g}"


def _tasters(count: int) -> str:
    return "one taster" if count == 1 else f"{count} tasters"
