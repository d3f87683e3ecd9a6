"""What a feeding plan does to the acid, in brief: trough, risk, potassium; plans side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from mustwright.figure import ASSUMED, Figure
from mustwright.kinetics.counterfactual import odds_by_acid
from mustwright.kinetics.ensemble_setting import MEMBERS, SEED
from mustwright.kinetics.forecast import drawn_plans
from mustwright.must.acidity.claims import lowest_shown
from mustwright.must.acidity.draws import chance
from mustwright.must.acidity.potassium import published_ratio, ratio_to_hydrogen
from mustwright.nutrition.feeding_plan import FeedingPlan
from mustwright.planning.acidity.acid_risk import AcidRisk
from mustwright.planning.acidity.measurements import needed_by_ratio
from mustwright.planning.acidity.ph_course import MODEL, PhForecast, follow, ph_times, rows_of
from mustwright.planning.acidity.ph_course_json import band_lines
from mustwright.planning.acidity.prior import acid_must
from mustwright.planning.acidity.result import (
    band_figure,
    chance_figure,
    ph_band,
    risk_of,
)
from mustwright.planning.kinetic_inputs import (
    conditions_of,
    feeds_of,
    must_at_pitch,
    nothing_to_ferment,
)
from mustwright.planning.likeness import population_at
from mustwright.planning.must_setup import Ground
from mustwright.planning.plan_result import Comparison, PlanResult
from mustwright.texts import say

RATIO = "Kudo1998, ratio from memory"


def acid_risks(
    ground: Ground, plans: Sequence[FeedingPlan], members: int = MEMBERS
) -> tuple[AcidRisk, ...]:
    """The acid under plans on the same must; empty where nothing honest can be said."""
    acid = None if nothing_to_ferment(ground) else acid_must(ground, rows_of(members).size, SEED)
    if acid is None:
        return ()
    must, conditions = must_at_pitch(ground), conditions_of(ground)
    feeds = [feeds_of(plan, ground) for plan in plans]
    times = ph_times(conditions.horizon_h)
    drawn = drawn_plans(must, feeds, conditions, members, SEED, times, population_at(ground))
    found = []
    for plan, fed, one in zip(plans, feeds, drawn, strict=True):
        course = follow(ground, plan, fed, one.run, acid, SEED)
        found.append(_risk(course, acid.ph is not None, odds_by_acid(one)))
    return tuple(found)


def acid_of_plan(result: PlanResult, members: int = MEMBERS) -> PlanResult:
    """A plan with what it does to the acid."""
    return replace(result, acid=next(iter(acid_risks(result.ground, [result.plan], members)), None))


def acid_of_comparison(result: Comparison, members: int = MEMBERS) -> Comparison:
    """A comparison with what each plan does to the acid."""
    return replace(result, acid=acid_risks(result.ground, result.plans, members))


def _risk(found: PhForecast, measured: bool, odds: float) -> AcidRisk:
    shown = np.maximum(found.trough, lowest_shown())
    ratio = ratio_to_hydrogen(found.potassium_mg_l, shown)
    count = found.trough.size
    return AcidRisk(
        ph_band(found.trough, say("lowest pH of the ferment"), MODEL),
        band_figure(
            found.trough_h, "h", say("when possible musts first come within 0.05 of it"), MODEL
        ),
        Figure(found.floor, "pH", say("the pH to keep unless another is asked for"), ASSUMED),
        chance_figure(
            found.chance_below_floor,
            say("whose lowest pH is under {floor:g}", floor=found.floor),
            count,
        ),
        risk_of(found.chance_below_floor),
        band_figure(
            ratio,
            "mol/mol",
            say(
                "potassium of must and feeds per hydrogen ion at the lowest pH; "
                "published {ratio:g}",
                ratio=published_ratio(),
            ),
            RATIO,
        ),
        needed_by_ratio(found.trough),
        chance_figure(chance(ratio < published_ratio()), say("under the published ratio"), count),
        Figure(
            odds,
            say("times"),
            say(
                "odds of stopping short, against the same runs without acid and lack "
                "of potassium; included in the chance of stopping"
            ),
            RATIO,
            {},
            odds,
            odds,
        ),
        {"times_h": found.times_h.tolist(), **band_lines(found, found.times_h)},
        measured,
    )
