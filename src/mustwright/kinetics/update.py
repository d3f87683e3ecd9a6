"""What do the readings say: members that explain them, and whether any does.

Bayes' rule over the standard normal numbers of the members. Sequential Monte Carlo: the likelihood
is let in by degrees, members are resampled, and moved by a preconditioned autoregressive step that
leaves the tempered posterior unchanged.
"""

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
from mustwright.kinetics.model import SHAPE_KNOTS
from mustwright.kinetics.parameters import EFFECT, EFFECTS, SHAPE, Population, deviation
from mustwright.kinetics.reading_verdict import FEW, ODD, Compared, ReadingVerdict, verdict_on
from mustwright.texts import say

Floats = NDArray[np.float64]

# What no member can meet: a floor. What the model gets wrong along the course, and more the longer
# it was not read, is in the members themselves: the walk of `parameters.SHAPE`.
MODEL_SD_GRAVITY = 0.0010
FREEDOM = 4.0  # Student errors: one odd reading does not drag all members along
DRY_GRAVITY = 0.995  # about where a must without sugar stands
STEP_H = 1.0  # longer steps than the forecast: error still far below a reading's
KEEP_SHARE = 0.5  # effective share of members each degree of tempering keeps
MOVES, LAST_MOVES = 2, 4
MEMORY = 0.6  # of the autoregressive step: 0 independent, 1 does not move
# Factor on the steps of the shape that no reading has seen yet: what a reading says of one ferment
# it says less of the part ahead, and least where the readings are no fit (assumed; chosen so that
# made-up courses of other shapes lie in the bands, docs/kinetics.md).
AHEAD, WIDER = 2.6, 3.6
# A ferment may turn sluggish in a step that is only read in part, and no reading before warns of
# it: so far at most, in one run of so many (assumed, looking at made-up courses of two paces).
TURNED, TURNED_EVERY = 4.0, 4
GOES_ON = 0.6  # of the miss of the latest reading, in steps of the shape (assumed)
# Where no usual fermentation of the medium meets the readings, other yeasts and cellars are looked
# at: effects that rule the course twice as wide; where these do not meet them either, so wide that
# nine in ten take up sugar within this factor of the usual, either way (assumed). For a medium with
# a wide spread the two are the same.
OTHER_PACE, ELSEWHERE, FURTHEST = 3.0, 2.0, 6.0
NINE_IN_TEN = 1.6449  # ends of the 90 % of a normal number
COURSE = (
    "uptake_max", "growth_max", "lag", "ethanol_half", "capacity_min", "capacity_rate",
    "cell_n_min", "tolerance_factor", "pace", *SHAPE,
)  # fmt: skip


@dataclass(frozen=True)
class Posterior:
    """Members after the readings.

    Parameters
    ----------
    z : ndarray
        Standard normal numbers, effects by members, equal weights.
    verdict : ReadingVerdict
    effects : dict of str to (mean, sd)
        Standardised: 0, 1 is the population before the readings.
    """

    z: Floats
    verdict: ReadingVerdict
    effects: dict[str, tuple[float, float]]


@dataclass(frozen=True)
class Likelihood:
    """Everything the likelihood needs."""

    must: MustAtPitch
    feeds: tuple[NitrogenPulse, ...]
    conditions: Conditions
    who: Population
    at_h: Floats
    seen: Floats
    sd: Floats

    def predict(self, z: Floats) -> Floats:
        """Gravity at the readings, readings by members."""
        built = members_.build(self.must, self.conditions, z, self.who)
        times, place = np.unique(self.at_h, return_inverse=True)
        short = replace(self.conditions, horizon_h=24.0)
        run = simulate.run(built, short, self.feeds, times, self.must.gravity, STEP_H)
        return run.gravity.astype(float)[place]

    def log_likelihood(self, z: Floats) -> Floats:
        """Log likelihood of each member, up to a constant."""
        miss = (self.predict(z) - self.seen[:, None]) / self.sd[:, None]
        log = -(FREEDOM + 1) / 2 * np.log1p(miss**2 / FREEDOM).sum(axis=0)
        # Ten standard deviations out numbers overflow: no such fermentation, whatever was read.
        return np.where(np.isfinite(log), log, -1e12)


def measured(conditions: Conditions, readings: Sequence[MustReading]) -> Conditions:
    """Conditions that follow the temperatures read."""
    points = sorted((r.t_h, r.temperature_c) for r in readings if r.temperature_c is not None)
    if not points:
        return conditions
    return replace(conditions, measured_c=tuple((float(t), float(c)) for t, c in points))


def problem(
    must: MustAtPitch,
    feeds: Sequence[NitrogenPulse],
    conditions: Conditions,
    readings: Sequence[MustReading],
    who: Population,
) -> Likelihood:
    """Gather the readings that carry a gravity.

    Parameters
    ----------
    must : MustAtPitch
    feeds : sequence of NitrogenPulse
    conditions : Conditions
    readings : sequence of MustReading
    who : Population

    Returns
    -------
    Likelihood

    Raises
    ------
    InputError
        None of them carries a gravity or Brix.
    """
    use = [r for r in readings if r.as_gravity is not None]
    if not use:
        raise InputError("readings", say("at least one gravity or Brix"), len(readings))
    sd = np.array([conditions.reading_sd_gravity if r.sd_gravity is None else r.sd_gravity
                   for r in use])  # fmt: skip
    return Likelihood(
        must,
        tuple(feeds),
        conditions,
        who,
        np.array([r.t_h for r in use], float),
        np.array([r.as_gravity for r in use], float),
        np.hypot(
            observe.reading_sd(
                [r.t_h for r in use], sd, observe.unmixed_sd(conditions, must.medium)
            ),
            MODEL_SD_GRAVITY,
        ),
    )


def posterior(
    must: MustAtPitch,
    feeds: Sequence[NitrogenPulse],
    conditions: Conditions,
    readings: Sequence[MustReading],
    members: int,
    seed: int,
    who: Population,
) -> Posterior:
    """Members that explain the readings.

    Parameters
    ----------
    must, feeds, conditions, who
        As for the forecast; the temperature is taken from `conditions` (see `measured`).
    readings : sequence of MustReading
        At least one with gravity or Brix.
    members : int
        32 to 100 000.
    seed : int

    Returns
    -------
    Posterior

    Raises
    ------
    InputError
        None of the readings carries a gravity or Brix.
    """
    case = problem(must, feeds, conditions, readings, who)
    random = np.random.Generator(np.random.Philox(seed + 2**33))
    drawn = members_.draw(members, seed)
    z, surprise = _temper(case, drawn, random)
    verdict = _verdict(case, z, readings, surprise)
    for wider in elsewhere(who):
        if not _is_elsewhere(verdict):
            break
        wide = np.array([wider if n in COURSE else 1.0 for n in EFFECTS])[:, None]
        far, likelier = _temper(case, wide * drawn, random, wide)
        if likelier > surprise:
            z, surprise = far, likelier
            verdict = _verdict(case, far, readings, likelier, is_usual=False)
    moments = {n: (float(z[k].mean()), float(z[k].std())) for k, n in enumerate(EFFECTS)}
    return Posterior(_less_sure_ahead(case, z, verdict, random), verdict, moments)


def elsewhere(who: Population) -> tuple[float, ...]:
    """How much wider than in a population other yeasts and cellars are looked for, in turn.

    Parameters
    ----------
    who : Population

    Returns
    -------
    tuple of float
        One or two rising factors on the standard normal numbers, `ELSEWHERE` to `FURTHEST` [-].
    """
    factors = np.linspace(ELSEWHERE, FURTHEST, 81)
    reach = who.spread["uptake_max"] * deviation("uptake_max", NINE_IN_TEN * factors)
    far = float(np.interp(np.log(OTHER_PACE), reach, factors))
    return (ELSEWHERE, far) if far > ELSEWHERE else (ELSEWHERE,)


def _is_elsewhere(verdict: ReadingVerdict) -> bool:
    """Whether no usual run meets the readings; one odd reading among several may be misread."""
    misses = np.array([m for m in verdict.scaled_miss if np.isfinite(m)])
    odd = int((np.abs(misses) > ODD).sum())
    return odd > 1 or (odd == 1 and misses.size < FEW)


def _less_sure_ahead(
    case: Likelihood, z: Floats, verdict: ReadingVerdict, random: np.random.Generator
) -> Floats:
    """Members whose course ahead is less sure: steps of the shape that no reading has seen yet.

    Where the latest reading has run away from the members, the next step goes on in its direction:
    in all of them, or in every other one where that reading alone is odd and may be misread.
    """
    latest = int(np.argmax(case.at_h))
    start = case.must.gravity
    left = (case.seen[latest] - DRY_GRAVITY) / max(start - DRY_GRAVITY, 1e-3)
    factor = AHEAD if verdict.explained else WIDER
    new = z.copy()
    ahead = [n for n, knot in zip(SHAPE[-2:], SHAPE_KNOTS[1::-1], strict=True) if left > knot]
    for name in ahead:
        new[EFFECT[name]] *= factor
    for name, top, knot in zip(SHAPE[2:4], SHAPE_KNOTS[::-1], SHAPE_KNOTS[1::-1], strict=False):
        if knot < left <= top:
            unread = (left - knot) / (top - knot)
            turned = new[EFFECT[name], ::TURNED_EVERY]
            turned -= TURNED * unread * np.abs(random.standard_normal(turned.shape))
    misses = [m for m in verdict.scaled_miss if np.isfinite(m)]
    odd = None if verdict.odd_reading is None else verdict.scaled_miss[verdict.odd_reading]
    if verdict.explained or odd not in (None, misses[latest]):
        return new
    away = float(np.clip(-GOES_ON * misses[latest], -2.0, 2.0))
    between = [SHAPE[2]] if left > SHAPE_KNOTS[1] else []
    for name in [*between, *ahead[:1]]:
        new[EFFECT[name], :: 1 if odd is None else 2] += away
    return new


def _temper(
    case: Likelihood, z: Floats, random: np.random.Generator, wide: Any = 1.0
) -> tuple[Floats, float]:
    """Members that explain the readings, of normal numbers so wide, and the log evidence."""
    log = case.log_likelihood(z)
    degree, surprise, memory = 0.0, 0.0, MEMORY
    while degree < 1.0:
        gain = _next_gain(log, 1.0 - degree)
        weight = np.exp(gain * (log - log.max()))
        surprise += float(gain * log.max() + np.log(weight.mean()))
        degree = min(degree + gain, 1.0)
        chosen = _resample(weight / weight.sum(), random)
        z, log = z[:, chosen], log[chosen]
        shape = _Shape.of(z)
        for _ in range(LAST_MOVES if degree >= 1.0 else MOVES):
            z, log, taken = _move(case, z, log, degree, shape, memory, random, wide)
            memory = min(max(memory + (0.35 - taken) * 0.5, 0.2), 0.97)
    return z, surprise


def _next_gain(log: Floats, rest: float) -> float:
    """Largest step of the degree that keeps the wanted effective share of members."""

    def share(gain: float) -> float:
        w = np.exp(gain * (log - log.max()))
        return float(w.sum() ** 2 / (w**2).sum() / w.size)

    if share(rest) >= KEEP_SHARE:
        return rest
    low, high = 0.0, rest
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if share(middle) >= KEEP_SHARE else (low, middle)
    return max(low, 1e-6)


def _resample(weight: Floats, random: np.random.Generator) -> NDArray[np.int64]:
    """Systematic resampling."""
    at = (np.arange(weight.size) + random.random()) / weight.size
    return np.minimum(np.searchsorted(np.cumsum(weight), at), weight.size - 1)


@dataclass(frozen=True)
class _Shape:
    """Gaussian that the moves lean on: mean, root of the covariance, and its inverse."""

    mean: Floats
    root: Floats
    inverse: Floats

    @classmethod
    def of(cls, z: Floats) -> _Shape:
        mean = z.mean(axis=1, keepdims=True)
        spread = np.cov(z) + 0.02 * np.eye(z.shape[0])
        root = np.linalg.cholesky(spread)
        return cls(mean, np.asarray(root), np.asarray(np.linalg.inv(root)))

    def half_square(self, z: Floats) -> Floats:
        return np.asarray(0.5 * ((self.inverse @ (z - self.mean)) ** 2).sum(axis=0))


def _move(
    case: Likelihood,
    z: Floats,
    log: Floats,
    degree: float,
    shape: _Shape,
    memory: float,
    random: np.random.Generator,
    wide: Any,
) -> tuple[Floats, Floats, float]:
    """One step reversible for the shape's Gaussian, corrected to the tempered posterior."""
    fresh = shape.root @ random.standard_normal(z.shape)
    new = shape.mean + memory * (z - shape.mean) + np.sqrt(1 - memory**2) * fresh
    new_log = case.log_likelihood(new)
    before = degree * log - 0.5 * ((z / wide) ** 2).sum(axis=0) + shape.half_square(z)
    after = degree * new_log - 0.5 * ((new / wide) ** 2).sum(axis=0) + shape.half_square(new)
    yes = np.log(random.random(log.size)) < after - before
    return np.where(yes, new, z), np.where(yes, new_log, log), float(yes.mean())


def _verdict(
    case: Likelihood,
    z: Floats,
    readings: Sequence[MustReading],
    surprise: float,
    is_usual: bool = True,
) -> ReadingVerdict:
    told = np.median(case.predict(z), axis=1)
    bend = z[[EFFECT[name] for name in SHAPE]].mean(axis=1)
    return verdict_on(
        Compared(readings, told, (case.seen - told) / case.sd, z.shape[1]),
        surprise, float(np.sqrt((bend**2).sum())), is_usual,
    )  # fmt: skip
