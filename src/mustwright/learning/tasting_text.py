"""What a panel can show and has shown, in sentences; one home for commands, pages and prints."""

from __future__ import annotations

from typing import Any

from mustwright import data
from mustwright.learning.discrimination import LEVEL, PanelPlan, PanelResult
from mustwright.learning.ranking import RankingResult
from mustwright.learning.scores import ScoresResult
from mustwright.learning.sequential import sequential_lines
from mustwright.learning.serving_order import ServingPlan
from mustwright.learning.trial_design import TrialPlan
from mustwright.texts import join, say, say_n

TASKS = {
    "triangle": say(
        "Three glasses: two hold the same mead, one another. Taste from left to right and name "
        "the odd one. If you cannot tell, guess."
    ),
    "paired": say(
        "Two glasses. Taste from left to right and name the one that is asked for. If you cannot "
        "tell, guess."
    ),
    "duo-trio": say(
        "First the reference, then two glasses: one holds the same mead as the reference. Name "
        "that one. If you cannot tell, guess."
    ),
    "tetrad": say(
        "Four glasses of two meads, two of each. Sort them into two pairs. If you cannot tell, "
        "guess."
    ),
    "ranking": say(
        "Taste from left to right, then put the glasses in order: 1 is the one with the least of "
        "what is asked for. Glasses may share a rank."
    ),
    "scores": say(
        "Give each glass a score from 0 (I would pour it away) to 9 (I could not make it better). "
        "Taste from left to right; you may go back."
    ),
}


def tasting_cautions() -> tuple[str, ...]:
    """What every tasting sheet says: spitting, no driving, no minors."""
    texts = data.load("cautions")
    names = ("tasting_spit", "tasting_no_driving", "tasting_no_minors")
    return tuple(texts[name]["text"] for name in names)


def plan_sentences(plan: PanelPlan) -> list[str]:
    """What this panel can show, action first."""
    if plan.critical is None:
        lines: list[str] = [
            say_n(
                "With one taster this test cannot show a difference at {alpha:.0%}, even if every "
                "answer is right.",
                "With {count} tasters this test cannot show a difference at {alpha:.0%}, even if "
                "every answer is right.",
                plan.tasters,
                alpha=plan.alpha,
            )
        ]
    else:
        found = join(
            ", ",
            [
                say("{p:.0%} if {share:.0%} can tell", p=p, share=share)
                for share, p in plan.power.items()
            ],
        )
        needed: dict[str, Any] = {"critical": plan.critical, "tasters": plan.tasters}
        lines = [
            say(
                "Call it a difference from {critical} right answers of {tasters} on, or from as "
                "many wrong.",
                **needed,
            )
            if plan.sided == "two"
            else say(
                "Call it a difference from {critical} right answers of {tasters} on.", **needed
            ),
            say(
                "Chance of finding a difference: {found}. Chance of finding one that is not "
                "there: {risk:.1%}.",
                found=found,
                risk=plan.true_alpha,
            ),
        ]
    if plan.best_of_these is not None and plan.best_of_these < plan.tasters:
        lines.append(
            say(
                "Take {fewer} tasters instead: they find more than {tasters} do. The count of "
                "right answers moves in whole steps, so one taster more may be one too many.",
                fewer=plan.best_of_these,
                tasters=plan.tasters,
            )
        )
    if plan.recommended_tasters is not None:
        lines.append(
            say(
                "{tasters} tasters find it 8 times in 10 where half of them can tell.",
                tasters=plan.recommended_tasters,
            )
        )
    return lines


def result_sentence(result: PanelResult) -> str:
    """What was shown, and how sure that is."""
    right = say(
        "{correct} of {tasters} right, p = {p}",
        correct=result.correct,
        tasters=result.tasters,
        p=p_text(result.p),
    )
    if result.p <= LEVEL:
        return say("A difference is shown: {right}.", right=right)
    return say(
        "No difference is shown: {right}. That does not show that the two are the same: up to "
        "{share:.0%} of tasters may be able to tell.",
        right=right,
        share=result.share_high,
    )


def distance_sentence(result: PanelResult) -> str:
    """How far apart the meads taste."""
    found = result.d_prime
    top = say("no upper end") if found.high is None else say("{high:.1f}", high=found.high)
    if found.value is None:
        return say("Distance (d-prime): at least {low:.1f}; every answer was right.", low=found.low)
    error = "" if found.se is None else say(" +- {se:.1f}", se=found.se)
    return say(
        "Distance (d-prime): {distance:.1f}{error}, 95 % interval {low:.1f} to {top}. Side by "
        "side, three of four answers are right at a distance of 1, nine of ten at 2.",
        distance=found.value,
        error=error,
        low=found.low,
        top=top,
    )


def ranking_sentence(result: RankingResult) -> str:
    """What the ranks show."""
    if result.p <= LEVEL:
        return say(
            "The meads are ranked apart: p = {p}. Two of them differ where their rank sums lie "
            "{apart:.1f} or more apart.",
            p=p_text(result.p),
            apart=result.least_difference,
        )
    return say(
        "No order is shown: p = {p}. Rank sums differ as much by chance.",
        p=p_text(result.p),
    )


def scores_sentence(result: ScoresResult) -> str:
    """What the scores show."""
    if result.p > LEVEL:
        return say("No preference is shown: p = {p}.", p=p_text(result.p))
    best = max(range(result.products), key=result.means.__getitem__) + 1
    return say(
        "The scores differ, p = {p}; mead {best} has the highest mean.",
        p=p_text(result.p),
        best=best,
    )


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
    found = {
        "different": say("Stop: a difference is shown."),
        "alike": say("Stop: fewer than half of the tasters can tell, if any."),
        "go on": say("Go on: not decided yet."),
    }
    return say(
        "{found} {correct} of {answers} right so far.",
        found=found[verdict],
        correct=correct,
        answers=answers,
    )


def balance_sentence(plan: ServingPlan) -> str:
    """Whether the orders are balanced."""
    if plan.balanced:
        return say("Balanced: no mead is favoured by its place or its neighbours.")
    if plan.tasters_for_balance is None:
        return say("As even as could be found; not every pair of meads meets equally often.")
    return say(
        "As even as this many tasters allow; {tasters} would balance it.",
        tasters=plan.tasters_for_balance,
    )


def trial_sentences(plan: TrialPlan) -> list[str]:
    """What a trial of this layout can show."""
    lines = [plan.message]
    if plan.arms == 2:
        lines.append(
            say(
                "That counts where you say beforehand which arm should come out higher; else p is "
                "twice as large."
            )
        )
    lines.append(spread_sentence(plan))
    return lines


def spread_sentence(plan: TrialPlan) -> str:
    """Where the spread from vessel to vessel comes from, and what it makes of the layout."""
    if plan.spread_assumed:
        return say(
            "How much your vessels of one must differ is not known yet, so differences are given "
            "in multiples of that spread. Your own trials will show it."
        )
    found = plan.learned
    if found is None:
        lead = say(
            "With a spread of {spread:.2g} from vessel to vessel, as you say,", spread=plan.spread
        )
    else:
        lead = say_n(
            "In your own trial, vessels of one must differed by {sd:.2g} (standard deviation, "
            "{freedom} degrees of freedom) in {measure}:",
            "In your own {count} trials, vessels of one must differed by {sd:.2g} (standard "
            "deviation, {freedom} degrees of freedom) in {measure}:",
            found.trials,
            sd=found.sd,
            freedom=found.freedom,
            measure=found.measure,
        )
    if plan.detectable_difference is None:
        return say(
            "{lead} with {vessels} vessels no difference can be shown.",
            lead=lead,
            vessels=plan.vessels,
        )
    return say(
        "{lead} with {vessels} vessels a difference of {difference:.2g} is found 8 times in 10.",
        lead=lead,
        vessels=plan.vessels,
        difference=plan.detectable_difference,
    )


def p_text(p: float) -> str:
    """A probability with two figures, never as nought."""
    return say("below 0.0001") if p < 0.0001 else say("{p:.2g}", p=p)
