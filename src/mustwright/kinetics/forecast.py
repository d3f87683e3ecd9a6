"""What will happen and how sure is that: bands of every observable, and when the feeds fall due."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mustwright.constants import CO2_G_MOL, CO2_L_PER_MOL_20C
from mustwright.errors import InputError
from mustwright.kinetics import members as members_
from mustwright.kinetics import observe, simulate
from mustwright.kinetics.bands import Band, band, single
from mustwright.kinetics.ends import how_it_ends
from mustwright.kinetics.feed_outcome import FeedOutcome, feed_outcome
from mustwright.kinetics.inputs import (
    Conditions,
    MustAtPitch,
    MustReading,
    NitrogenPulse,
    told_feeding,
)
from mustwright.kinetics.nitrogen_use import NitrogenUse, nitrogen_use
from mustwright.kinetics.parameters import Population, population
from mustwright.kinetics.reading_verdict import ReadingVerdict
from mustwright.kinetics.stops import is_unmodelled
from mustwright.kinetics.update import measured, posterior
from mustwright.texts import say

Floats = NDArray[np.float64]
CO2_G_PER_L = CO2_G_MOL / CO2_L_PER_MOL_20C  # at 20 °C and one atmosphere


@dataclass(frozen=True)
class Forecast:
    """An ensemble of fermentations, summed up.

    Parameters
    ----------
    times_h : ndarray
        [h] after pitch.
    gravity, brix : Band
        What a hydrometer at 20 °C would read, error of reading included.
    sugar_g_l, ethanol_g_l, yan_mg_l, temperature_c : Band
        Of the must itself.
    co2_g_l : Band
        What a scale under the vessel shows as gone: CO2 but for what stays dissolved, and up to
        `observe.CARRIED` of its weight as water and alcohol [g/L].
    hours_to_dry : Band
        Until glucose and fructose are below 2 g/L; inf for never.
    chance_of_sticking : float
        Share of members that stop or crawl (under 5 g/L a day) with 2 g/L or more at the horizon.
    chance_of_dry : float
        Share that is dry by then; the rest is still moving.
    residual_sugar_g_l, residual_yan_mg_l : Band
        At the horizon.
    feeds : tuple of FeedOutcome
        One for each feed.
    verdict : ReadingVerdict or None
        How the readings fit, where there are any.
    dry_at_h, residual_by_member_g_l : ndarray
        By member: members of two forecasts with the same seed and no readings are the same
        fermentation under two protocols.
    chance_of_stopping_sweet : float
        Share that ends at the alcohol its kind bears, in a must with sugar beyond that; not counted
        as sticking.
    chance_not_modelled : float
        Share that sticks for reasons the model does not have; part of `chance_of_sticking`.
    ph : Band
        Of the one acid that stands for all, along the times.
    peak_gas_l_h : Band
        CO2 of the whole must at its fastest, at 20 °C and one atmosphere [L/h].
    peak_temperature_c, lowest_ph : Band
    nitrogen : NitrogenUse
    """

    times_h: Floats
    gravity: Band
    brix: Band
    sugar_g_l: Band
    ethanol_g_l: Band
    co2_g_l: Band
    yan_mg_l: Band
    temperature_c: Band
    hours_to_dry: Band
    chance_of_sticking: float
    chance_of_dry: float
    residual_sugar_g_l: Band
    residual_yan_mg_l: Band
    feeds: tuple[FeedOutcome, ...]
    verdict: ReadingVerdict | None
    dry_at_h: Floats
    residual_by_member_g_l: Floats
    chance_of_stopping_sweet: float
    chance_not_modelled: float
    ph: Band
    peak_gas_l_h: Band
    peak_temperature_c: Band
    lowest_ph: Band
    nitrogen: NitrogenUse

    @property
    def hours_if_dry(self) -> Band:
        """Until dry, over the members that get there; inf where none does [h]."""
        there = self.dry_at_h[np.isfinite(self.dry_at_h)]
        return single(there if there.size else np.array([np.inf]))


def forecast(
    must: MustAtPitch,
    feeds: Sequence[NitrogenPulse] = (),
    conditions: Conditions | None = None,
    members: int = 2000,
    seed: int = 1,
    at_h: Floats | None = None,
    readings: Sequence[MustReading] | None = None,
    prior: Population | None = None,
) -> Forecast:
    """Forecast a fermentation, or re-forecast it from what was read.

    Parameters
    ----------
    must : MustAtPitch
    feeds : sequence of NitrogenPulse
        Planned; those already given as feeds at their hour.
    conditions : Conditions
    members : int
        32 to 100 000.
    seed : int
        Same seed, same answer, whatever the number of threads.
    at_h : ndarray or None
        Times of the bands [h]; every two hours to the horizon when None.
    readings : sequence of MustReading or None
        What was read; then members are drawn from those that explain it.
    prior : Population or None
        In place of the calibrated population of the must's medium.

    Returns
    -------
    Forecast

    Raises
    ------
    InputError
        Too few or too many members, or readings without any gravity.

    Examples
    --------
    >>> must = MustAtPitch.from_gravity(1.100, 19.0, amino_n_mg_l=200.0)
    >>> f = forecast(must, members=64)
    >>> bool(f.hours_to_dry.p05 < f.hours_to_dry.p50)
    True
    """
    drawn = fermentations(must, feeds, conditions, members, seed, at_h, readings, prior)
    return sum_up(drawn)


def forecast_plans(
    must: MustAtPitch,
    plans: Sequence[Sequence[NitrogenPulse]],
    conditions: Conditions | None = None,
    members: int = 2000,
    seed: int = 1,
    at_h: Floats | None = None,
    prior: Population | None = None,
) -> list[Forecast]:
    """Forecast one must under several feeding plans, in one call of the kernel.

    Parameters
    ----------
    must : MustAtPitch
    plans : sequence of sequences of NitrogenPulse
        Members are the same under each.
    conditions : Conditions
    members : int
        32 to 100 000, for each plan.
    seed : int
    at_h : ndarray or None
        Times of the bands [h]; every two hours to the horizon when None.
    prior : Population or None
        In place of the calibrated population of the must's medium.

    Returns
    -------
    list of Forecast
        One for each plan, as `forecast` of it would give.

    Raises
    ------
    InputError
    """
    return [sum_up(d) for d in drawn_plans(must, plans, conditions, members, seed, at_h, prior)]


def drawn_plans(
    must: MustAtPitch,
    plans: Sequence[Sequence[NitrogenPulse]],
    conditions: Conditions | None = None,
    members: int = 2000,
    seed: int = 1,
    at_h: Floats | None = None,
    prior: Population | None = None,
    also_h: Floats | None = None,
) -> list[Drawn]:
    """The members of `forecast_plans` themselves.

    Parameters
    ----------
    must : MustAtPitch
    plans : sequence of sequences of NitrogenPulse
    conditions : Conditions or None
        Those of `Conditions()` when None.
    members : int
        32 to 100 000.
    seed : int
    at_h : ndarray or None
        Times of the bands; every two hours to the horizon when None [h].
    prior : Population or None
        In place of the calibrated population of the must's medium.
    also_h : ndarray or None
        More times to keep in the run, not in the bands [h].

    Returns
    -------
    list of Drawn
        One for each plan.

    Raises
    ------
    InputError
    """
    _check_members(members)
    conditions = conditions or Conditions()
    who = prior or population(must.medium)
    must = told_feeding(must, any(plans))
    z = members_.draw(members, seed)
    return _run(must, plans, conditions, z, who, seed, at_h, also_h, None)


def _run(
    must: MustAtPitch,
    plans: Sequence[Sequence[NitrogenPulse]],
    conditions: Conditions,
    z: Floats,
    who: Population,
    seed: int,
    at_h: Floats | None,
    also_h: Floats | None,
    verdict: ReadingVerdict | None,
) -> list[Drawn]:
    """Members with these numbers under each plan."""
    wanted = _times(conditions, at_h)
    built = members_.build(must, conditions, z, who)
    kept = _kept(conditions, wanted, also_h)
    runs = simulate.run_plans(built, conditions, plans, kept, must.gravity)
    return [Drawn(run, wanted, z, who, conditions, verdict, seed, must) for run in runs]


def _check_members(members: int) -> None:
    if not 32 <= members <= 100_000:
        raise InputError("members", say("32 to 100000"), members)


def _kept(conditions: Conditions, wanted: Floats, also_h: Floats | None) -> Floats:
    """Times the run keeps: of the bands, others asked for, a day before the end, and the end."""
    end = max(conditions.horizon_h, float(wanted.max()))
    also = np.zeros(0) if also_h is None else also_h[also_h <= end]
    return np.unique(np.concatenate([wanted, also, [end - 24.0, end]]))


@dataclass(frozen=True)
class Drawn:
    """An ensemble that was run: what a forecast sums up, and what closer questions are asked of.

    Parameters
    ----------
    run : Run
        Kept at `times_h`, and a day before the end and at the end.
    times_h : ndarray
        Times of the bands [h].
    z : ndarray
        Standard normal numbers of the members, effects by members.
    who : Population
    conditions : Conditions
        With the temperatures that were read.
    verdict : ReadingVerdict or None
    seed : int
    must : MustAtPitch
    """

    run: simulate.Run
    times_h: Floats
    z: Floats
    who: Population
    conditions: Conditions
    verdict: ReadingVerdict | None
    seed: int
    must: MustAtPitch


def fermentations(
    must: MustAtPitch,
    feeds: Sequence[NitrogenPulse] = (),
    conditions: Conditions | None = None,
    members: int = 2000,
    seed: int = 1,
    at_h: Floats | None = None,
    readings: Sequence[MustReading] | None = None,
    prior: Population | None = None,
    also_h: Floats | None = None,
) -> Drawn:
    """The members of a `forecast` themselves.

    Parameters
    ----------
    must : MustAtPitch
    feeds : sequence of NitrogenPulse
    conditions : Conditions or None
        Those of `Conditions()` when None.
    members : int
        32 to 100 000.
    seed : int
    at_h : ndarray or None
        Times of the bands; every two hours to the horizon when None [h].
    readings : sequence of MustReading or None
    prior : Population or None
        In place of the calibrated population of the must's medium.
    also_h : ndarray or None
        More times to keep in the run, not in the bands; those past the last time are left out.
        On half hours they change no band [h].

    Returns
    -------
    Drawn

    Raises
    ------
    InputError
    """
    _check_members(members)
    conditions = conditions or Conditions()
    who = prior or population(must.medium)
    must = told_feeding(must, bool(feeds))
    verdict = None
    if readings:
        conditions = measured(conditions, readings)
        found = posterior(must, feeds, conditions, readings, members, seed, who)
        z, verdict = found.z, found.verdict
    else:
        z = members_.draw(members, seed)
    return _run(must, (feeds,), conditions, z, who, seed, at_h, also_h, verdict)[0]


def _times(conditions: Conditions, at_h: Floats | None) -> Floats:
    if at_h is None:
        return np.arange(0.0, conditions.horizon_h + 1, 2.0)
    return np.unique(np.asarray(at_h, float))


def carried(seed: int, members: int) -> Floats:
    """Water and alcohol that leave with the gas, by member [-]; see `observe.CARRIED`."""
    draws = np.random.Generator(np.random.Philox(seed + 2**33))
    return np.asarray(observe.CARRIED * draws.random(members))


def sum_up(drawn: Drawn) -> Forecast:
    """What an ensemble says, as bands and chances."""
    run, wanted, verdict = drawn.run, drawn.times_h, drawn.verdict
    rows = np.searchsorted(run.times_h, wanted)
    gravity = run.gravity[rows]
    noise = np.random.Generator(np.random.Philox(drawn.seed + 2**32))
    unmixed = observe.unmixed_sd(drawn.conditions, drawn.must.medium)
    sd = observe.reading_sd(wanted, drawn.conditions.reading_sd_gravity, unmixed)
    read = gravity + sd.astype(np.float32)[:, None] * noise.standard_normal(
        gravity.shape, dtype=np.float32
    )
    lost = observe.weight_lost(run.co2_g_l[rows], carried(drawn.seed, gravity.shape[1]))
    sugar, yan = run.sugar_g_l, run.yan_mg_l
    ends = how_it_ends(run, drawn.must, drawn.conditions)
    return Forecast(
        wanted,
        band(read),
        band(observe.brix(read)),
        band(sugar[rows]),
        band(run.ethanol_g_l[rows]),
        band(lost),
        band(yan[rows]),
        band(run.temperature_c[rows]),
        single(run.dry_at_h),
        float(np.mean(ends.sticks)),
        float(np.mean(ends.dry)),
        single(sugar[-1]),
        single(yan[-1]),
        tuple(feed_outcome(h) for h in run.fed_at_h),
        verdict,
        run.dry_at_h,
        sugar[-1].astype(float),
        float(np.mean(ends.sweet)),
        float(np.mean(ends.sticks & is_unmodelled(drawn.must.medium, drawn.z))),
        band(run.ph[rows]),
        single(run.peak_gas_g_l_h * drawn.must.volume_l / CO2_G_PER_L),
        single(run.peak_temperature_c),
        single(run.lowest_ph),
        nitrogen_use(run),
    )
