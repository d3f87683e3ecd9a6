"""What each plan would do: forecasts of several plans on one must, member against member."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from mustwright.figure import Figure
from mustwright.kinetics import forecast as model
from mustwright.kinetics.bands import Band
from mustwright.kinetics.ensemble_setting import MEMBERS, SEED
from mustwright.kinetics.forecast import Forecast
from mustwright.kinetics.inputs import Conditions, MustAtPitch, NitrogenPulse
from mustwright.kinetics.parameters import Population
from mustwright.must.gravity_text import brix_sign
from mustwright.nutrition.feeding_plan import FeedingPlan
from mustwright.nutrition.protocols import Protocol
from mustwright.nutrition.triggers import THIRD
from mustwright.planning.acidity.plan_salt import with_salt, with_salts
from mustwright.planning.days_text import days_number
from mustwright.planning.kinetic_inputs import (
    conditions_of,
    feeds_of,
    medium_of,
    must_at_pitch,
    nothing_to_ferment,
)
from mustwright.planning.likeness import HouseFor, at_home, population_at
from mustwright.planning.must_setup import Ground
from mustwright.planning.outcome import Outcome, outcome_values
from mustwright.planning.plan import compare, compare_on
from mustwright.planning.plan_result import Comparison, PlanResult
from mustwright.planning.ranking import ALIKE, against, rank
from mustwright.texts import literal, say
from mustwright.unit_system import degrees, degrees_number

STEP_H = 6.0
SOURCE = say("kinetic model, see docs/kinetics.md")
FITTED_TO_BRIX = 27.0
FITTED_C = (20.0, 28.0)
REAL_SHARE = 0.9  # of members that must agree which of two is quicker
REAL_H = 12.0  # and by at least this much in the middle


def recommended(
    text: str,
    own: Mapping[str, Protocol] | None = None,
    name: str = "must",
    aim: str | None = None,
    house: HouseFor | None = None,
    as_written: bool = False,
) -> PlanResult:
    """The plan to recommend for a must: every protocol planned, forecast, and ranked for the aim.

    Parameters
    ----------
    text : str
        The sheet, TOML; its ``[goal] aim`` says what the maker wants most.
    own : mapping of str to Protocol or None
        The maker's own protocols, by id.
    name : str
        For a sheet without a name.
    aim : str or None
        Id of what the maker wants most, in place of what the sheet says.
    house : callable or None
        Gives what the maker's finished batches say of such a fermentation.
    as_written : bool
        Follow protocols as their authors wrote them, the law apart, whatever the sheet says.

    Returns
    -------
    PlanResult

    Raises
    ------
    InputError, ImpossibleError, UnknownKindError
    """
    bare = compare(text, None, own, name, aim, as_written)
    return _best(replace(bare, ground=at_home(bare.ground, house)))


def recommended_on(ground: Ground, own: Mapping[str, Protocol]) -> PlanResult:
    """As `recommended`, on a must that is mixed and credited already."""
    return _best(compare_on(ground, own))


def _best(bare: Comparison) -> PlanResult:
    found = foresee_comparison(bare)
    return found.of(found.suits_best, chosen=True)


def foresee(
    ground: Ground, plans: Sequence[FeedingPlan], members: int = MEMBERS
) -> tuple[Outcome, ...]:
    """Outcomes of plans on the same must, with the same members under each."""
    runs = runs_of(ground, plans, members)
    return tuple(outcome_of(run, members, plan) for run, plan in zip(runs, plans, strict=True))


def runs_of(ground: Ground, plans: Sequence[FeedingPlan], members: int = MEMBERS) -> list[Forecast]:
    """One forecast a plan on the same must, with the same members under each."""
    must, conditions = must_at_pitch(ground), conditions_of(ground)
    feeds = [feeds_of(plan, ground) for plan in plans]
    times = np.arange(0.0, conditions.horizon_h + 1, STEP_H)
    prior = population_at(ground)
    return list(model.forecast_plans(must, feeds, conditions, members, SEED, times, prior))


def run_of(
    must: MustAtPitch,
    feeds: Sequence[NitrogenPulse],
    conditions: Conditions,
    members: int = MEMBERS,
    prior: Population | None = None,
    *,
    step_h: float = STEP_H,
) -> Forecast:
    """One forecast at the times that are drawn; always the same members for the same number.

    Parameters
    ----------
    must : MustAtPitch
    feeds : sequence of NitrogenPulse
    conditions : Conditions
    members : int
        32 to 100000.
    prior : Population or None
        In place of the calibrated population of the must's medium.
    step_h : float
        Between the times of the bands, whole half hours; what a run does is the same at any [h].

    Returns
    -------
    Forecast
    """
    times = np.arange(0.0, conditions.horizon_h + 1, step_h)
    return model.forecast(must, feeds, conditions, members, SEED, times, prior=prior)


def salted(result: PlanResult) -> PlanResult:
    """A plan with the salt it needs, not forecast."""
    if nothing_to_ferment(result.ground):
        return result
    return replace(result, plan=with_salt(result.ground, result.plan))


def foresee_plan(result: PlanResult, members: int = MEMBERS) -> PlanResult:
    """A plan with its salt, what it would do, and its feeds at the hours forecast."""
    if nothing_to_ferment(result.ground):
        return result
    plan = with_salt(result.ground, result.plan)
    (outcome,) = foresee(result.ground, [plan], members=members)
    return replace(result, outcome=outcome, plan=with_expected_hours(plan, outcome))


def foresee_comparison(result: Comparison, members: int = MEMBERS) -> Comparison:
    """A comparison with the salt each plan needs, and what each would do."""
    if nothing_to_ferment(result.ground):
        return result
    result = replace(result, plans=with_salts(result.ground, result.plans))
    runs = runs_of(result.ground, result.plans, members)
    outcomes = tuple(
        outcome_of(run, members, plan) for run, plan in zip(runs, result.plans, strict=True)
    )
    ranked = rank(outcome_values(result.plans, outcomes), result.verdicts, result.ranked.aim)
    outcomes = tuple(
        replace(
            one,
            against_best=""
            if k == ranked.pick
            else against(ranked, k, difference(runs[k], runs[ranked.pick])),
        )
        for k, one in enumerate(outcomes)
    )
    plans = tuple(
        with_expected_hours(plan, outcome)
        for plan, outcome in zip(result.plans, outcomes, strict=True)
    )
    return replace(result, outcomes=outcomes, plans=plans, ranked=ranked)


def doubts(ground: Ground) -> list[str]:
    """Where the model was never tried, as far as the must's own facts show."""
    found: list[str] = []
    if ground.setting.must.brix.value > FITTED_TO_BRIX:
        found.append(
            say(
                "The model was fitted on musts up to {brix:g} {sign}; this one is beyond them.",
                brix=FITTED_TO_BRIX,
                sign=brix_sign(),
            )
        )
    if not FITTED_C[0] <= ground.sheet.temperature_c <= FITTED_C[1]:
        found.append(
            say(
                "The model was fitted between {low} and {high}; this must is outside.",
                low=degrees_number(FITTED_C[0], ground.units),
                high=degrees(FITTED_C[1], ground.units),
            )
        )
    if medium_of(ground) == "honey":
        found.append(
            say(
                "The model was fitted on only four honey musts, three of them by "
                "their gas. The shaded range allows for how musts and yeasts differ."
            )
        )
    return found


def with_expected_hours(plan: FeedingPlan, outcome: Outcome) -> FeedingPlan:
    """The plan with the hours of its feeds and salt from the forecast, not the usual pace."""
    feeds = tuple(
        replace(feed, expected_h=_hours(feed.expected_h, band))
        for feed, band in zip(plan.feeds, outcome.feeds_h, strict=True)
    )
    salt = plan.salt
    if salt is not None:
        parts = tuple(
            replace(part, expected_h=_hours(part.expected_h, band))
            for part, band in zip(salt.parts, outcome.salt_h, strict=True)
        )
        salt = replace(salt, parts=parts)
    return replace(plan, feeds=feeds, salt=salt)


def difference(one: Forecast, other: Forecast) -> str:
    """In words, whether one plan is dry earlier than another, member by member."""
    counts = np.isfinite(one.dry_at_h) | np.isfinite(other.dry_at_h)  # the rest stop under both
    if not counts.any():
        return ALIKE
    a = np.minimum(one.dry_at_h[counts], 1e5)
    b = np.minimum(other.dry_at_h[counts], 1e5)
    gap = a - b
    middle = float(np.median(gap))
    sooner, later = float(np.mean(gap < 0)), float(np.mean(gap > 0))
    if max(sooner, later) < REAL_SHARE or abs(middle) < REAL_H:
        stuck = one.chance_of_sticking - other.chance_of_sticking
        if abs(stuck) < 0.05:
            return ALIKE
        if stuck > 0:
            return say("sticks more often by {share:.0%}", share=stuck)
        return say("sticks less often by {share:.0%}", share=-stuck)
    if abs(middle) > 5e4:
        return (
            say("does not get dry where that one does")
            if middle > 0
            else say("gets dry where it does not")
        )
    words = (
        literal("dry about {days} days later, in {share:.0%} of runs that get dry")
        if middle > 0
        else literal("dry about {days} days sooner, in {share:.0%} of runs that get dry")
    )
    return words.format(days=days_number(abs(middle) / 24), share=max(sooner, later))


def outcome_of(run: Forecast, members: int, plan: FeedingPlan) -> Outcome:
    """What a maker asks of a forecast of a plan, each figure with its working."""
    due, count = tuple(feed.expected_h for feed in run.feeds), len(plan.feeds)
    inputs: dict[str, Figure | float | str] = {"members": float(members), "seed": float(SEED)}
    return Outcome(
        days_figure(run.hours_to_dry, inputs),
        days_figure(run.hours_if_dry, inputs, say("the runs that get dry")),
        Figure(
            run.chance_of_sticking, "chance",
            say("share of runs that stop, or nearly so, with sugar left"), SOURCE, inputs,
        ),
        _figure(run.residual_sugar_g_l, "g/L", say("sugar after six weeks"), inputs),
        _figure(run.residual_yan_mg_l, "mg N/L", say("nitrogen after six weeks"), inputs),
        _peak(run, inputs),
        tuple(float(t) for t in run.times_h),
        run.gravity,
        due[:count],
        _third(run, inputs),
        stops_sweet=_share(
            run.chance_of_stopping_sweet,
            say("share of runs that end at the yeast's limit, in a must made to stop sweet"),
            inputs,
        ),
        not_modelled=_share(
            run.chance_not_modelled,
            say("share of runs that stop for reasons the model does not cover (assumed)"), inputs
        ),
        peak_gas_l_h=_figure(
            run.peak_gas_l_h, "L/h", say("most carbon dioxide of the whole must"), inputs
        ),
        lowest_ph=_figure(run.lowest_ph, "", say("lowest pH of the must"), inputs),
        taken_while_growing=_figure(
            run.nitrogen.share_while_growing, "share",
            say("nitrogen taken up while cells still grow"), inputs,
        ),
        unused_ammonium_mg_l=_figure(
            run.nitrogen.unused_ammonium_mg_l, "mg N/L",
            say("ammonium nitrogen after six weeks"), inputs
        ),
        unused_amino_mg_l=_figure(
            run.nitrogen.unused_amino_mg_l, "mg N/L", say("amino nitrogen after six weeks"), inputs
        ),
        salt_h=due[count:],
    )  # fmt: skip


def _share(value: float, told: str, inputs: dict[str, Figure | float | str]) -> Figure:
    return Figure(value, "chance", told, SOURCE, inputs)


def days_figure(
    band: Band, inputs: dict[str, Figure | float | str], over: str = say("the runs")
) -> Figure:
    """Days until dry, from the hours of all runs, or of those named."""
    return Figure(
        band.p50 / 24, say("days"),
        say(
            "until less than 2 g/L of sugar: middle of {runs}, and the range of nine in ten",
            runs=over,
        ),
        SOURCE, inputs, band.p05 / 24, band.p95 / 24,
    )  # fmt: skip


def _figure(band: Band, unit: str, what: str, inputs: dict[str, Figure | float | str]) -> Figure:
    formula = say("{what}: middle of the runs, and the range of nine in ten", what=what)
    ends = [round(value, 4) for value in (band.p50, band.p05, band.p95)]
    return Figure(ends[0], unit, formula, SOURCE, inputs, ends[1], ends[2])


def _peak(run: Forecast, inputs: dict[str, Figure | float | str]) -> Figure:
    def top(values: Any) -> float:
        return float(np.max(values))

    band = run.temperature_c
    return Figure(
        top(band.p50), "C",
        say("highest temperature of the must: middle of the runs, and the range of nine in ten"),
        SOURCE, inputs, top(band.p05), top(band.p95),
    )  # fmt: skip


def _third(run: Forecast, inputs: dict[str, Figure | float | str]) -> Figure:
    """When the sugar of the middle, quick and slow members falls below two thirds of its start."""
    left = (1 - THIRD) * float(run.sugar_g_l.p50[0])
    middle, quick, slow = (
        _passes(run.times_h, sugar, left)
        for sugar in (run.sugar_g_l.p50, run.sugar_g_l.p05, run.sugar_g_l.p95)
    )
    return Figure(
        middle, "h",
        say("until a third of the sugar is gone: middle of the runs, and the range of nine in ten"),
        SOURCE, inputs, quick, slow,
    )  # fmt: skip


def _passes(times_h: Any, falling: Any, level: float) -> float:
    """When a falling curve first is at a level, on straight lines between its times."""
    below = np.flatnonzero(falling <= level)
    if below.size == 0:
        return float("inf")
    k = int(below[0])
    if k == 0:
        return float(times_h[0])
    part = (falling[k - 1] - level) / (falling[k - 1] - falling[k])
    return float(times_h[k - 1] + part * (times_h[k] - times_h[k - 1]))


def _hours(pace: Figure, band: Band) -> Figure:
    if not np.isfinite(band.p50) or pace.low is None:
        return pace  # by the clock, or never in most members
    high = band.p95 if np.isfinite(band.p95) else pace.high
    if high is not None and high < band.p50:
        high = None  # many runs never get there: no end can be named
    return Figure(
        band.p50, "h", say("forecast: middle of the runs, and the range of nine in ten"), SOURCE,
        {"usual_pace_h": pace}, band.p05, high,
    )  # fmt: skip
