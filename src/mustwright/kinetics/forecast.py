"""What will happen and how sure is that: bands of every observable, and when the feeds fall due."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mustwright.errors import InputError
from mustwright.kinetics import members as members_
from mustwright.kinetics import observe, simulate
from mustwright.kinetics.inputs import Conditions, MustAtPitch, MustReading, NitrogenPulse
from mustwright.kinetics.parameters import Population, population
from mustwright.kinetics.update import ReadingVerdict, measured, posterior
from mustwright.time_budget import spend

Floats = NDArray[np.float64]
PROBABILITIES = (0.05, 0.25, 0.50, 0.75, 0.95)
# A ferment that falls less than 0.002 in gravity a day is sluggish (a published threshold, read
# second-hand; used here also above 1.005, where it is 0.005): with sugar left after six weeks it
# has stopped or crawls, and a maker calls it stuck.
STUCK_G_L_PER_DAY = 5.0


@dataclass(frozen=True)
class Band:
    """Five quantiles of one quantity, single numbers or along the times of the forecast."""

    p05: Any
    p25: Any
    p50: Any
    p75: Any
    p95: Any


@dataclass(frozen=True)
class FeedOutcome:
    """When one feed falls due.

    Parameters
    ----------
    expected_h : Band
        Hours after pitch; inf where the quantile lies among members that never get it.
    chance_never : float
        Share of members in which no condition came true before the horizon.
    chance_left_out : float
        Share in which it came due with too little sugar left.
    """

    expected_h: Band
    chance_never: float
    chance_left_out: float


@dataclass(frozen=True)
class Forecast:
    """An ensemble of fermentations, summed up.

    Parameters
    ----------
    times_h : ndarray
        [h] after pitch.
    gravity, brix : Band
        What a hydrometer at 20 °C would read, error of reading included.
    sugar_g_l, ethanol_g_l, co2_g_l, yan_mg_l, temperature_c : Band
        Of the must itself.
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

    Examples
    --------
    >>> must = MustAtPitch.from_gravity(1.100, 19.0, amino_n_mg_l=200.0)
    >>> f = forecast(must, members=64)
    >>> bool(f.hours_to_dry.p05 < f.hours_to_dry.p50)
    True
    """
    drawn = fermentations(must, feeds, conditions, members, seed, at_h, readings, prior)
    return sum_up(drawn)


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
    """

    run: simulate.Run
    times_h: Floats
    z: Floats
    who: Population
    conditions: Conditions
    verdict: ReadingVerdict | None
    seed: int


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
    """The members of a `forecast` themselves; parameters as there.

    Parameters
    ----------
    also_h : ndarray or None
        More times to keep in the run, not in the bands; those past the last time are left out.
        On half hours they change no band [h].
    """
    if not 32 <= members <= 100_000:
        raise InputError("members", "32 to 100000", members)
    spend()
    conditions = conditions or Conditions()
    who = prior or population(must.medium)
    verdict = None
    if readings:
        conditions = measured(conditions, readings)
        found = posterior(must, feeds, conditions, readings, members, seed, who)
        z, verdict = found.z, found.verdict
    else:
        z = members_.draw(members, seed)
    wanted = _times(conditions, at_h)
    end = max(conditions.horizon_h, float(wanted.max()))
    also = np.zeros(0) if also_h is None else also_h[also_h <= end]
    kept = np.unique(np.concatenate([wanted, also, [end - 24.0, end]]))
    built = members_.build(must, conditions, z, who)
    run = simulate.run(built, conditions, feeds, kept, must.gravity)
    return Drawn(run, wanted, z, who, conditions, verdict, seed)


def _times(conditions: Conditions, at_h: Floats | None) -> Floats:
    if at_h is None:
        return np.arange(0.0, conditions.horizon_h + 1, 2.0)
    return np.unique(np.asarray(at_h, float))


def sum_up(drawn: Drawn) -> Forecast:
    """What an ensemble says, as bands and chances."""
    run, wanted, verdict = drawn.run, drawn.times_h, drawn.verdict
    rows = np.searchsorted(run.times_h, wanted)
    gravity = run.gravity[rows]
    noise = np.random.Generator(np.random.Philox(drawn.seed + 2**32))
    read = gravity + np.float32(drawn.conditions.reading_sd_gravity) * noise.standard_normal(
        gravity.shape, dtype=np.float32
    )
    sugar, yan = run.sugar_g_l, run.yan_mg_l
    dry = np.isfinite(run.dry_at_h)
    still = sugar[-1 - _steps_of_last_day(run)] - sugar[-1] < STUCK_G_L_PER_DAY
    return Forecast(
        wanted,
        band(read),
        band(observe.brix(read)),
        band(sugar[rows]),
        band(run.ethanol_g_l[rows]),
        band(run.co2_g_l[rows]),
        band(yan[rows]),
        band(run.temperature_c[rows]),
        single(run.dry_at_h),
        float(np.mean(~dry & still)),
        float(np.mean(dry)),
        single(sugar[-1]),
        single(yan[-1]),
        tuple(_outcome(h) for h in run.fed_at_h),
        verdict,
        run.dry_at_h,
        sugar[-1].astype(float),
    )


def _steps_of_last_day(run: simulate.Run) -> int:
    """Kept times between a day before the end and the end."""
    before = run.times_h[-1] - 24.0
    return int(run.times_h.size - 1 - np.searchsorted(run.times_h, before - 1e-9))


def _outcome(fed_at_h: Floats) -> FeedOutcome:
    given = np.where(fed_at_h < 0, np.inf, fed_at_h)
    return FeedOutcome(
        single(given), float(np.mean(np.isinf(fed_at_h))), float(np.mean(fed_at_h < 0))
    )


def band(values: NDArray[Any]) -> Band:
    """Quantiles over the last axis, the member nearest to each probability."""
    ordered = np.sort(values, axis=-1)
    last = values.shape[-1] - 1
    return Band(*(ordered[..., round(p * last)].astype(float) for p in PROBABILITIES))


def single(values: NDArray[Any]) -> Band:
    """Quantiles of one quantity over the members."""
    found = band(values)
    return Band(*(float(getattr(found, f"p{round(100 * p):02d}")) for p in PROBABILITIES))


def with_temperature(conditions: Conditions, temperature_c: float) -> Conditions:
    """The same conditions at another constant temperature of the must."""
    return replace(conditions, temperature_c=temperature_c, vessel=None)
