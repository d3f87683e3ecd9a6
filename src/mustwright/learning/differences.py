"""Why did two batches run differently: each difference run alone, and what is left over.

From the first batch one thing at a time is taken over from the second, with the same members. That
says what the model expects of each difference; it does not prove a cause. Only a split by lot does.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mustwright.batch.kinetic_inputs import KineticCase
from mustwright.batch.outlook import crossed
from mustwright.batch.progress import Progress
from mustwright.kinetics.ensemble_setting import MEMBERS, SEED
from mustwright.kinetics.forecast import Drawn, fermentations
from mustwright.kinetics.inputs import Conditions, MustAtPitch, NitrogenPulse
from mustwright.kinetics.parameters import Population
from mustwright.must.gravity_text import gravity_text
from mustwright.texts import join, say
from mustwright.unit_system import degrees

Floats = NDArray[np.float64]
FRACTION = 2 / 3  # of the sugar: readings tell this moment better than that of dryness
HORIZON_H, STEP_H = 1008.0, 6.0
WEEK_H = 168.0
NOT_MODELLED = say("not in the model")
NEEDS = {
    "low": say("low need of nitrogen"),
    "medium": say("medium need of nitrogen"),
    "high": say("high need of nitrogen"),
}
MEDIA = {
    "honey": say("honey"),
    "grape_with_skins": say("grape with skins"),
    "clear_juice": say("clear juice"),
    "unknown": say("unknown"),
}


@dataclass(frozen=True)
class BatchDifference:
    """One thing in which two batches differ.

    Parameters
    ----------
    what : str
    a, b : str
        In either batch, in words.
    effect : float or None
        What it alone does to the days until two thirds of the sugar are gone, second less first
        [d]; None where the model does not know it.
    error : float or None
        Standard deviation of that among the members [d].
    """

    what: str
    a: str
    b: str
    effect: float | None
    error: float | None


@dataclass(frozen=True)
class BatchComparison:
    """Two batches side by side.

    Parameters
    ----------
    days_a, days_b : float or None
        Days until two thirds of the sugar were gone, by the readings [d]; None where they do not
        say.
    differences : tuple of BatchDifference
    together : float
        What the model expects of all differences at once [d].
    not_explained : float or None
        What was observed less the effects of all differences [d]; None where it was not observed.
    """

    days_a: float | None
    days_b: float | None
    differences: tuple[BatchDifference, ...]
    together: float
    not_explained: float | None


@dataclass(frozen=True)
class SheetSide:
    """A must before it is a batch: as much of a case as its sheet says."""

    must: MustAtPitch
    conditions: Conditions
    feeds: tuple[NitrogenPulse, ...] = ()


@dataclass(frozen=True)
class Aspect:
    """One thing of a batch that can be taken over from another.

    Parameters
    ----------
    what : str
    said : callable
        In words; batches differ in it where the words do.
    taken : callable
        The first case with this of the second.
    """

    what: str
    said: Callable[[KineticCase | SheetSide], str]
    taken: Callable[[KineticCase, KineticCase], KineticCase]


def _must(*names: str) -> Callable[[KineticCase, KineticCase], KineticCase]:
    def taken(one: KineticCase, other: KineticCase) -> KineticCase:
        values: dict[str, Any] = {name: getattr(other.must, name) for name in names}
        return replace(one, must=replace(one.must, **values))

    return taken


def _conditions(*names: str) -> Callable[[KineticCase, KineticCase], KineticCase]:
    def taken(one: KineticCase, other: KineticCase) -> KineticCase:
        values: dict[str, Any] = {name: getattr(other.conditions, name) for name in names}
        return replace(one, conditions=replace(one.conditions, **values))

    return taken


def _feeds(one: KineticCase, other: KineticCase) -> KineticCase:
    return replace(one, given=other.given, open=other.open, open_keys=other.open_keys)


def _fed_text(case: KineticCase | SheetSide) -> str:
    fed = case.feeds
    if not fed:
        return say("none", context="feeds")
    total = sum(f.ammonium_n_mg_l + f.amino_n_mg_l for f in fed)
    ammonium = sum(f.ammonium_n_mg_l for f in fed)
    when = join(", ", [_when(f) for f in fed])
    return say(
        "{total:.0f} mg N/L, {ammonium:.0f} of it ammonium ({when})",
        total=total,
        ammonium=ammonium,
        when=when,
    )


def _when(feed: NitrogenPulse) -> str:
    at = feed.trigger.at_h
    return say("when due") if at is None else say("{at:.0f} h", at=at)


def _yeast_text(case: KineticCase | SheetSide) -> str:
    strain = case.conditions.strain
    return say(
        "{limit:g} % vol tolerance, {need}",
        limit=strain.alcohol_tolerance_pct_vol,
        need=NEEDS[strain.nitrogen_class],
    )


def _warm_text(case: KineticCase | SheetSide) -> str:
    return say("{warm} in the first week", warm=degrees(_first_week_c(case.conditions)))


def _first_week_c(conditions: Conditions) -> float:
    """Mean temperature of the first week, as read, else as planned."""
    points = conditions.measured_c
    if not points:
        if conditions.vessel is not None:
            return conditions.vessel.start_c
        steady = conditions.temperature_c
        if not isinstance(steady, tuple):
            return float(steady)
        points = steady
    at, value = zip(*points, strict=True)
    hours = np.arange(0.0, WEEK_H, 6.0)
    return float(np.interp(hours, at, value).mean())


ASPECTS = (
    Aspect(
        say("gravity at pitch"),
        lambda c: gravity_text(c.must.gravity),
        _must("glucose_g_l", "fructose_g_l", "solids_g_l"),
    ),
    Aspect(
        say("nitrogen of the must"),
        lambda c: say(
            "{nitrogen:.0f} mg N/L", nitrogen=c.must.ammonium_n_mg_l + c.must.amino_n_mg_l
        ),
        _must("ammonium_n_mg_l", "amino_n_mg_l", "ammonium_n_range_mg_l", "amino_n_range_mg_l"),
    ),
    Aspect(say("pH at pitch"), lambda c: say("{ph:.1f}", ph=c.must.ph), _must("ph")),
    Aspect(
        say("kind of must"),
        lambda c: MEDIA[c.must.medium],
        _must("medium", "fermentable_range"),
    ),
    Aspect(say("yeast"), _yeast_text, _conditions("strain")),
    Aspect(
        say("pitch"),
        lambda c: say("{pitch:.2f} g/L", pitch=c.conditions.pitch_g_l),
        _conditions("pitch_g_l"),
    ),
    Aspect(
        say("rehydration"),
        lambda c: say("rehydrated") if c.conditions.rehydrated else say("strewn dry"),
        _conditions("rehydrated"),
    ),
    Aspect(say("temperature"), _warm_text, _conditions("temperature_c", "vessel", "measured_c")),
    Aspect(say("feeds"), _fed_text, _feeds),
)


def differing(one: KineticCase | SheetSide, other: KineticCase | SheetSide) -> tuple[Aspect, ...]:
    """The things the model knows in which two batches differ."""
    return tuple(a for a in ASPECTS if a.said(one) != a.said(other))


def compare_batches(
    one: tuple[Progress, KineticCase],
    other: tuple[Progress, KineticCase],
    plain: tuple[BatchDifference, ...] = (),
    members: int = MEMBERS,
) -> BatchComparison:
    """Every difference of two batches, each run alone.

    Parameters
    ----------
    one, other : tuple of (Progress, KineticCase)
        First and second batch.
    plain : tuple of BatchDifference
        Differences the model does not know, told along.
    members : int
        Fermentations a run, 32 to 100 000; the same ones in each.

    Returns
    -------
    BatchComparison
    """
    (state_a, case_a), (state_b, case_b) = one, other
    base = days_used(case_a, members)
    found, whole = [], case_a
    for aspect in differing(case_a, case_b):
        gap = days_used(aspect.taken(case_a, case_b), members) - base
        whole = aspect.taken(whole, case_b)
        effect, error = float(np.mean(gap)), float(np.std(gap))
        found.append(
            BatchDifference(aspect.what, aspect.said(case_a), aspect.said(case_b), effect, error)
        )
    together = float(np.mean(days_used(whole, members) - base)) if found else 0.0
    days_a, days_b = seen_days(state_a), seen_days(state_b)
    rest = None
    if days_a is not None and days_b is not None:
        rest = days_b - days_a - sum(d.effect or 0.0 for d in found)
    return BatchComparison(days_a, days_b, (*found, *plain), together, rest)


def days_used(case: KineticCase, members: int = MEMBERS) -> Floats:
    """Days until two thirds of the sugar are gone, by member; the horizon where they never are."""
    return days_of(expected(case.must, case.feeds, case.conditions, members))


def expected(
    must: MustAtPitch,
    feeds: Sequence[NitrogenPulse],
    conditions: Conditions,
    members: int = MEMBERS,
    prior: Population | None = None,
) -> Drawn:
    """Runs of a must not yet read, over the horizon of 42 days.

    Parameters
    ----------
    must : MustAtPitch
    feeds : sequence of NitrogenPulse
    conditions : Conditions
    members : int
        32 to 100 000; the same ones each time.
    prior : Population or None
        In place of the calibrated population of the must's medium.

    Returns
    -------
    Drawn
    """
    times = np.arange(0.0, HORIZON_H + 1, STEP_H)
    conditions = replace(conditions, horizon_h=HORIZON_H)
    return fermentations(must, feeds, conditions, members, SEED, times, prior=prior)


def days_of(drawn: Drawn) -> Floats:
    """Days until two thirds of the sugar are gone.

    Parameters
    ----------
    drawn : Drawn
        Of `expected`.

    Returns
    -------
    ndarray
        One a member; the horizon, 42, where they never are [d].
    """
    times = drawn.times_h
    sugar = drawn.run.sugar_g_l[np.searchsorted(drawn.run.times_h, times)].astype(float)
    gone = np.maximum.accumulate(1 - sugar / np.maximum(sugar[0], 1e-9), axis=0)
    days = np.full(gone.shape[1], HORIZON_H / 24)
    for k, (start, end) in reversed(list(enumerate(pairwise(times)))):
        passed = (gone[k] < FRACTION) & (gone[k + 1] >= FRACTION)
        part = (FRACTION - gone[k]) / np.maximum(gone[k + 1] - gone[k], 1e-12)
        days = np.where(passed, (start + part * (end - start)) / 24, days)
    return days


def seen_days(state: Progress) -> float | None:
    """Days until two thirds of the sugar were gone, on the line through the readings."""
    if not len(state.points) or float(state.points.used.max()) < FRACTION:
        return None
    return crossed(state.points, FRACTION) / 24


def comparison_sentences(found: BatchComparison, a: str, b: str) -> list[str]:
    """A comparison in words.

    Parameters
    ----------
    found : BatchComparison
    a, b : str
        Names of the batches.

    Returns
    -------
    list of str
    """
    lines: list[str] = [
        say("{name}: two thirds of the sugar gone after {days:.1f} days.", name=name, days=days)
        if days is not None
        else say(
            "{name}: its readings do not say when two thirds of the sugar were gone.", name=name
        )
        for name, days in ((a, found.days_a), (b, found.days_b))
    ]
    if not found.differences:
        lines.append(say("Sheet and log show no difference."))
    if found.not_explained is not None:
        days = found.not_explained
        lines.append(
            say("Not explained by these differences: {days:+.1f} days.", days=days)
            if found.differences
            else say("Not explained: {days:+.1f} days.", days=days)
        )
    lines.append(
        say(
            "What the model expects is not proof. Only a must split at random into several "
            "vessels shows a cause."
        )
    )
    return lines
