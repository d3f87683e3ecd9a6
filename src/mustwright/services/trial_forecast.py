"""What the forecast expects of the arms of a trial, before any honey is bought."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mustwright.kinetics.bands import Band, single
from mustwright.kinetics.ends import how_it_ends
from mustwright.learning.differences import HORIZON_H, days_of, expected
from mustwright.learning.trial import TrialArm
from mustwright.learning.trial_design import TrialPlan, plan_trial
from mustwright.planning.days_text import days_number
from mustwright.planning.kinetic_inputs import conditions_of, feeds_of, must_at_pitch
from mustwright.planning.likeness import HouseFor, at_home, population_at
from mustwright.services.notebook import Notebook
from mustwright.services.repository import Cellar
from mustwright.services.trials import arms_of, own_spread, planned
from mustwright.texts import literal, say

SAME_DAYS = 0.05  # what is not seen in days of one decimal
_LATER = literal(
    "The forecast expects {second} {days:.1f} days later than {first} ({low:+.1f} to {high:+.1f})."
)
_EARLIER = literal(
    "The forecast expects {second} {days:.1f} days earlier than {first} "
    "({low:+.1f} to {high:+.1f})."
)


@dataclass(frozen=True)
class ArmForecast:
    """What is expected of one arm.

    Parameters
    ----------
    name : str
    days : Band
        Until two thirds of the sugar are gone [d].
    chance_of_sticking : float
        As the plan of this must says; 0 to 1.
    """

    name: str
    days: Band
    chance_of_sticking: float


@dataclass(frozen=True)
class TrialForecast:
    """What is expected of a trial.

    Parameters
    ----------
    arms : tuple of ArmForecast
    gap : Band or None
        Days of the second arm less the first, run by run; None with more than two arms [d].
    """

    arms: tuple[ArmForecast, ...]
    gap: Band | None


def expected_of_arms(
    cellar: Cellar,
    thing: str,
    arms: Sequence[TrialArm],
    musts: Sequence[str],
    protocol: str | None = None,
    house: HouseFor | None = None,
) -> TrialForecast:
    """Forecast every arm with the same runs; nothing is written.

    Parameters
    ----------
    cellar : Cellar
    thing, arms, musts, protocol
        As for `start_trial`; of several musts in pairs the first is forecast.
    house : callable or None
        Gives what the maker's finished batches say of such a fermentation.

    Returns
    -------
    TrialForecast

    Raises
    ------
    InputError
        Where arms differ in more than the one thing.
    MissingRecordError
    """
    sheets, chosen = arms_of(cellar, thing, arms, musts, protocol)
    found, days = [], []
    for arm, held, name in zip(arms, sheets, chosen, strict=True):
        result = planned(cellar, held[0], name)
        ground = at_home(result.ground, house)
        drawn = expected(
            must_at_pitch(ground), feeds_of(result.plan, ground), conditions_of(ground),
            prior=population_at(ground),
        )  # fmt: skip
        days.append(days_of(drawn))
        ends = how_it_ends(drawn.run, drawn.must, drawn.conditions)
        found.append(ArmForecast(arm.name, single(days[-1]), float(np.mean(ends.sticks))))
    return TrialForecast(tuple(found), _gap(days))


def _gap(days: Sequence[NDArray[np.float64]]) -> Band | None:
    return single(days[1] - days[0]) if len(days) == 2 else None


def expected_sentences(found: TrialForecast, plan: TrialPlan | None = None) -> list[str]:
    """What is expected, in words; with a layout whose spread in days is known, whether it shows.

    Parameters
    ----------
    found : TrialForecast
    plan : TrialPlan or None
        Of the layout, with a spread of days that was learned.

    Returns
    -------
    list of str
    """
    lines: list[str] = [
        say(
            "{arm}: two thirds of the sugar gone in {days} days ({low} to "
            "{high}); stops short in {chance_of_sticking:.0%} of runs.",
            arm=arm.name,
            days=_days(arm.days.p50),
            low=_days(arm.days.p05),
            high=_days(arm.days.p95),
            chance_of_sticking=arm.chance_of_sticking,
        )
        for arm in found.arms
    ]
    if found.gap is None:
        return lines
    first, second = (arm.name for arm in found.arms)
    gap = found.gap
    if max(abs(gap.p05), abs(gap.p95)) < SAME_DAYS:
        lines.append(
            say(
                "The forecast expects no difference in time between {first} and {second}.",
                first=first,
                second=second,
            )
        )
    else:
        lines.append(
            (_LATER if gap.p50 >= 0 else _EARLIER).format(
                second=second, days=abs(gap.p50), first=first, low=gap.p05, high=gap.p95
            )
        )
    if plan is not None and plan.learned is not None:
        lines.append(_shows(abs(gap.p50), plan))
    return lines


def _days(days: float) -> str:
    return say("{days:.1f}", days=days) if days * 24 < HORIZON_H else days_number(math.inf)


def _shows(days: float, plan: TrialPlan) -> str:
    needed = plan.detectable_difference
    if needed is None:
        return say(
            "With {vessels} vessels no difference can be told from chance.", vessels=plan.vessels
        )
    found = literal("With {vessels} vessels such a difference would mostly be found.")
    missed = literal("With {vessels} vessels such a difference would mostly be missed.")
    return (found if days >= needed else missed).format(vessels=plan.vessels)


def layout_in_days(
    notebook: Notebook, vessels: int | None, arms: int, *, paired: bool = False
) -> TrialPlan | None:
    """A layout with the spread of days that the maker's own trials show; None where none is said.

    Raises
    ------
    InputError
        For a layout that cannot be dealt evenly.
    """
    if vessels is None:
        return None
    return plan_trial(vessels, arms, paired=paired, spread=own_spread(notebook, "days"))


def expected_data(found: TrialForecast) -> dict[str, Any]:
    """The same for JSON; bands in days."""
    return {
        "unit": "days until two thirds of the sugar are gone",
        "arms": [
            {
                "name": arm.name,
                "days": _plain(arm.days),
                "chance_of_sticking": arm.chance_of_sticking,
            }
            for arm in found.arms
        ],
        "difference": None if found.gap is None else _plain(found.gap),
    }


def _plain(found: Band) -> dict[str, float]:
    return {"p05": found.p05, "p50": found.p50, "p95": found.p95}
