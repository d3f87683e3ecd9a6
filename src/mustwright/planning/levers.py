"""What would matter most on this must: each thing a maker can move, moved a believable step.

The same members under every change, so that differences are those of the change.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from mustwright.constants import POTASSIUM_G_MOL
from mustwright.figure import Figure
from mustwright.kinetics.acid_start import BUFFER
from mustwright.kinetics.conditions import Conditions, Profile
from mustwright.kinetics.ensemble_setting import MEMBERS, SEED
from mustwright.kinetics.inputs import MustAtPitch, NitrogenPulse
from mustwright.kinetics.parameters import Population
from mustwright.must.gravity_text import gravity_text
from mustwright.nutrition.choose import falls_short
from mustwright.planning.kinetic_inputs import (
    conditions_of,
    dissolved_times,
    feeds_of,
    must_at_pitch,
    nothing_to_ferment,
    within_model,
)
from mustwright.planning.lever import Lever, Levers
from mustwright.planning.likeness import population_at
from mustwright.planning.outcome import Outcome
from mustwright.planning.plan_forecast import SOURCE, days_figure, foresee_comparison, run_of
from mustwright.planning.plan_result import Comparison, PlanResult
from mustwright.planning.what_if import extract_g_l, times_nitrogen
from mustwright.texts import join, say, say_n
from mustwright.unit_system import degrees, degrees_number
from mustwright.yeast.pitch import small_amount

# How far each is moved: what a maker could really do (a judgement, assumed).
TOLERANCE_STEP_PCT = 2.0
GRAVITY_STEP = 0.010
NITROGEN_FACTOR = 1.25
PITCH_FACTOR = 1.5
TEMPERATURE_STEP_C = 3.0
PH_STEP = 0.3
HIGHEST_PH = 4.6
LEAST_PH_STEP = 0.1  # less does not show on a meter
BANDS_EVERY_H = 168.0  # no band is shown of them
MATTERS = 0.10  # of the chance to get dry: less is hardly worth the trouble (assumed)
HARDLY = 0.05
SURE = 0.95
SPOKEN = {
    "yeast": say("the yeast"),
    "sugar": say("the sugar"),
    "nitrogen": say("the nitrogen"),
    "pitch": say("the amount of yeast"),
    "temperature": say("the temperature"),
    "potassium_and_ph": say("the pH"),
    "aeration": say("the air"),
}


def levers_of(
    result: PlanResult, rivals: Comparison | None = None, members: int = MEMBERS
) -> Levers | None:
    """What would matter most under a plan; None where nothing ferments.

    Parameters
    ----------
    result : PlanResult
    rivals : Comparison or None
        Other plans for the same must, forecast: whether the choice among them matters.
    members : int
        32 to 100000.
    """
    ground = result.ground
    if nothing_to_ferment(ground):
        return None
    base = _Ferment(
        must_at_pitch(ground),
        feeds_of(result.plan, ground),
        conditions_of(ground),
        population_at(ground),
    )
    planned = _lever("as_planned", say("as planned"), base, members)
    moved = [_lever(name, change, case, members) for name, change, case in _moves(result, base)]
    moved.sort(key=lambda lever: (-_chance(lever), _days(lever)))
    hardly = rivals is not None and hardly_matters(rivals)
    unfed = falls_short(result.plan) and result.plan.nitrogen.added_mg_l.value <= 0
    words = _unfed_words(planned) if unfed else _words(planned, moved, hardly, result.outcome)
    return Levers(planned, tuple(moved), words)


def with_levers(comparison: Comparison, chosen: str | None = None) -> PlanResult:
    """One plan of a comparison, the recommended one if None, with what would matter most.

    Parameters
    ----------
    comparison : Comparison
        Forecast already.
    chosen : str or None
        Id of its protocol.
    """
    result = comparison.of(chosen or comparison.suits_best, chosen=chosen is None)
    return replace(result, levers=levers_of(result, comparison))


def recommended_with_levers(bare: Comparison) -> PlanResult:
    """The plan to recommend of a comparison that is not forecast yet, with what matters most."""
    return with_levers(foresee_comparison(bare))


@dataclass(frozen=True)
class _Ferment:
    must: MustAtPitch
    feeds: tuple[NitrogenPulse, ...]
    conditions: Conditions
    prior: Population | None


def _lever(name: str, change: str, case: _Ferment, members: int) -> Lever:
    run = run_of(case.must, case.feeds, case.conditions, members, case.prior, step_h=BANDS_EVERY_H)
    inputs: dict[str, Figure | float | str] = {
        "members": float(members), "seed": float(SEED), "change": change,
    }  # fmt: skip
    return Lever(
        name,
        change,
        Figure(run.chance_of_dry, "chance", say("share of runs dry in six weeks"), SOURCE, inputs),
        days_figure(run.hours_to_dry, inputs),
    )


def _moves(result: PlanResult, base: _Ferment) -> Iterator[tuple[str, str, _Ferment]]:
    """Every lever as name, change and the changed case."""
    strain, must = base.conditions.strain, base.must
    more = within_model("tolerance_pct", strain.alcohol_tolerance_pct_vol + TOLERANCE_STEP_PCT)
    yield (
        "yeast",
        say(
            "a yeast with an alcohol limit of {new:g} % vol instead of {old:g}",
            new=more,
            old=strain.alcohol_tolerance_pct_vol,
        ),
        replace(
            base,
            conditions=replace(
                base.conditions, strain=replace(strain, alcohol_tolerance_pct_vol=more)
            ),
        ),
    )
    gravity = result.must.gravity.value
    less = max(gravity - GRAVITY_STEP, 1.005)
    factor = extract_g_l(less) / extract_g_l(gravity)
    yield (
        "sugar",
        say(
            "gravity {new} instead of {old}",
            new=gravity_text(less),
            old=gravity_text(gravity),
        ),
        replace(base, must=dissolved_times(must, factor)),
    )
    fed = result.plan.nitrogen.added_mg_l.value
    if fed > 0:
        short = result.plan.nitrogen.short_mg_l.value if falls_short(result.plan) else 0.0
        factor = max(NITROGEN_FACTOR, (fed + short) / fed)
        feeds = tuple(times_nitrogen(feed, factor) for feed in base.feeds)
        yield (
            "nitrogen",
            say(
                "{new:.0f} mg N/L fed instead of {old:.0f} (not checked against law and labels)",
                new=factor * fed,
                old=fed,
            ),
            replace(base, feeds=feeds),
        )
    grams = result.pitch.yeast_g.value
    pitch = within_model("pitch_g_l", PITCH_FACTOR * base.conditions.pitch_g_l)
    yield (
        "pitch",
        say(
            "{new} g of yeast instead of {old}",
            new=small_amount(PITCH_FACTOR * grams, 1),
            old=small_amount(grams, 1),
        ),
        replace(base, conditions=replace(base.conditions, pitch_g_l=pitch)),
    )
    yield _warmth(result, base)
    barred = result.plan.salt is not None and not result.plan.salt.parts
    if not barred and must.ph + LEAST_PH_STEP <= HIGHEST_PH:
        yield _salt(base)
    yield _air(base)


def _salt(base: _Ferment) -> tuple[str, str, _Ferment]:
    """A potassium salt that lifts the pH, with the potassium that so much base brings."""
    must = base.must
    ph = min(must.ph + PH_STEP, HIGHEST_PH)
    lift = ph - must.ph
    changes: dict[str, Any] = {"ph": ph, "ph_range": _raised(must.ph_range, lift)}
    if must.potassium_mg_l is not None:
        buffer = must.buffer_meq_l_ph or BUFFER[must.medium][0]
        brought = lift * buffer * POTASSIUM_G_MOL
        changes["potassium_mg_l"] = must.potassium_mg_l + brought
        changes["potassium_range_mg_l"] = _raised(must.potassium_range_mg_l, brought)
    return (
        "potassium_and_ph",
        say("pH {new:.2g} instead of {old:.2g} at pitch, by a potassium salt", new=ph, old=must.ph),
        replace(base, must=replace(must, **changes)),
    )


def _raised(span: tuple[float, float] | None, by: float) -> tuple[float, float] | None:
    return None if span is None else (span[0] + by, span[1] + by)


def _air(base: _Ferment) -> tuple[str, str, _Ferment]:
    """Air on the first two days, or none where it was to be given."""
    aired = base.conditions.aeration in ("repeated", "stirred")
    conditions = replace(base.conditions, aeration="none" if aired else "repeated")
    change = (
        say("no air at all")
        if aired
        else say("air stirred in more than once in the first two days")
    )
    return "aeration", change, replace(base, conditions=conditions)


def _warmth(result: PlanResult, base: _Ferment) -> tuple[str, str, _Ferment]:
    """Warmer, or cooler where warmer would leave the yeast's usual range."""
    now, high = result.must.temperature_c, result.strain.temperature_high_c
    units = result.ground.units
    step = TEMPERATURE_STEP_C if now + TEMPERATURE_STEP_C <= high else -TEMPERATURE_STEP_C
    old = base.conditions
    vessel = old.vessel
    if vessel is None:
        conditions = replace(old, temperature_c=_shifted(old.temperature_c, step, 45.0))
    else:
        room = _shifted(vessel.room_c, step, 45.0)
        start = min(max(vessel.start_c + step, 0.0), 40.0)
        conditions = replace(old, vessel=replace(vessel, room_c=room, start_c=start))
    return (
        "temperature",
        say(
            "{new} instead of {old}",
            new=degrees(now + step, units),
            old=degrees_number(now, units),
        ),
        replace(base, conditions=conditions),
    )


def _shifted(course: float | Profile, by_c: float, most_c: float) -> float | Profile:
    if isinstance(course, int | float):
        return min(max(course + by_c, 0.0), most_c)
    return tuple((hour, min(max(c + by_c, 0.0), most_c)) for hour, c in course)


def chances_to_finish(rivals: Comparison) -> tuple[float, float] | None:
    """Lowest and highest chance to finish among plans that feed enough; None with fewer than two.

    Parameters
    ----------
    rivals : Comparison
        With its outcomes.

    Returns
    -------
    tuple of float or None
        0 to 1.
    """
    chances = [
        1 - outcome.chance_of_sticking.value
        for outcome, verdict in zip(rivals.outcomes, rivals.verdicts, strict=True)
        if not verdict.faults[0]
    ]
    return (min(chances), max(chances)) if len(chances) > 1 else None


def hardly_matters(rivals: Comparison) -> bool:
    """Whether the choice of protocol changes the chance to finish by next to nothing."""
    found = chances_to_finish(rivals)
    return found is not None and found[1] - found[0] < HARDLY


def _unfed_words(planned: Lever) -> str:
    """Where nothing is fed to a must that needs it: no lever stands for that."""
    return say(
        "The yeast gets too little nitrogen: it gets dry in {chance:.0%} of runs.",
        chance=_chance(planned),
    )


def _words(planned: Lever, moved: Sequence[Lever], protocol: bool, outcome: Outcome | None) -> str:
    """What matters most; `protocol` says that the choice of protocol hardly does."""
    now = _chance(planned)
    matter = [lever for lever in moved if _chance(lever) - now >= MATTERS]
    unknown = outcome.not_modelled.value if outcome else 0.0
    sweet = outcome.stops_sweet.value if outcome else 0.0
    if now + unknown >= SURE:
        lead = (
            say(
                "It gets dry in {now:.0%} of runs as planned; the protocol hardly matters.", now=now
            )
            if protocol
            else say("It gets dry in {now:.0%} of runs as planned.", now=now)
        )
        rest = [say("The rest is what the model does not cover.")] if unknown > 0 else []
        return join(" ", (lead, *rest))
    if not matter:
        also = [say("The protocol hardly matters either.")] if protocol else []
        return join(" ", (_nothing_matters(now, sweet, max(moved, key=_chance)), *also))
    steps = [
        say("{change}: {chance:.0%}", change=lever.change, chance=_chance(lever))
        for lever in matter[:2]
    ]
    said: dict[str, Any] = {
        "names": join(say(" and "), [SPOKEN[lever.name] for lever in matter[:2]]),
        "now": now,
        "steps": join("; ", steps),
    }
    if protocol:
        return say_n(
            "On this must {names} matters most, and the protocol hardly does: it gets dry in "
            "{now:.0%} of runs as planned; {steps}.",
            "On this must {names} matter most, and the protocol hardly does: it gets dry in "
            "{now:.0%} of runs as planned; {steps}.",
            len(matter),
            **said,
        )
    return say_n(
        "On this must {names} matters most: it gets dry in {now:.0%} of runs as planned; {steps}.",
        "On this must {names} matter most: it gets dry in {now:.0%} of runs as planned; {steps}.",
        len(matter),
        **said,
    )


def _nothing_matters(now: float, sweet: float, best: Lever) -> str:
    """No step changes much, not even the best one."""
    if sweet > now:
        return say(
            "It stays sweet: its yeast ends before the sugar does in {sweet:.0%} of runs, and no "
            "single step changes that much.",
            sweet=sweet,
        )
    if _chance(best) - now < 0.01:
        return say(
            "It gets dry in {now:.0%} of runs as planned, and no single step changes that much.",
            now=now,
        )
    return say(
        "It gets dry in {now:.0%} of runs as planned, and no single step changes that much "
        "({change}: {chance:.0%}).",
        now=now,
        change=best.change,
        chance=_chance(best),
    )


def _chance(lever: Lever) -> float:
    return lever.chance_of_dry.value


def _days(lever: Lever) -> float:
    return lever.days_to_dry.value
