"""What do the readings say: members that explain them, and whether any does.

Bayes' rule over the standard normal numbers of the members. Sequential Monte Carlo: the likelihood
is let in by degrees, members are resampled, and moved by a preconditioned autoregressive step that
leaves the tempered posterior unchanged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mustwright.errors import InputError
from mustwright.kinetics import members as members_
from mustwright.kinetics import observe, simulate
from mustwright.kinetics.inputs import Conditions, MustAtPitch, MustReading, NitrogenPulse
from mustwright.kinetics.model import SHAPE_KNOTS
from mustwright.kinetics.parameters import EFFECT, EFFECTS, SHAPE, Population

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
ODD = 3.5  # scaled miss beyond which a reading counts as odd
LAST_ODD, RMS_ODD = 2.0, 1.3  # miss of the latest reading, and of all, beyond which it is no fit
FEW = 4  # readings before the latest one or all of them can speak against the model
# Factor on the steps of the shape that no reading has seen yet: what a reading says of one ferment
# it says less of the part ahead, and least where the readings are no fit (assumed; chosen so that
# made-up courses of other shapes lie in the bands, docs/kinetics.md).
AHEAD, WIDER = 2.6, 3.6
GOES_ON = 0.6  # of the miss of the latest reading, in steps of the shape (assumed)
BENT = 2.2  # length of the mean bend, in its own spread, from which it is no fit (about 1 in 20)
BENT_MESSAGE = (
    "The readings run another course than the model has: it was bent to meet them, and what lies "
    "ahead is less sure than usual."
)


@dataclass(frozen=True)
class ReadingVerdict:
    """How the readings and the model agree.

    Parameters
    ----------
    explained : bool
        Members were found that explain every reading, without bending the course of the model
        further than fermentations of the medium do.
    odd_reading : int or None
        Place of the reading that fits worst, when it does not fit.
    scaled_miss : tuple of float
        Reading less what members say (median), in standard errors, by reading; nan where a reading
        carries neither gravity nor Brix.
    surprise : float
        Log evidence of the readings [-], for comparing explanations.
    message : str
        One sentence for the maker.
    bend : float
        How far the readings bend the course away from the model's: length of the mean of the
        standard normal numbers of `parameters.SHAPE` [-]; 0 not at all, over `BENT` no fit.
    """

    explained: bool
    odd_reading: int | None
    scaled_miss: tuple[float, ...]
    surprise: float
    message: str
    bend: float = 0.0

    @property
    def is_met(self) -> bool:
        """Whether all readings are met, or all but one that others came after.

        A course that had to be bent is met all the same.
        """
        odd = [k for k, miss in enumerate(self.scaled_miss) if abs(miss) > ODD]
        return not odd or (len(odd) == 1 and odd[0] < len(self.scaled_miss) - 1)


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
        raise InputError("readings", "at least one gravity or Brix", len(readings))
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
    z, _, surprise = _temper(case, members_.draw(members, seed), random)
    moments = {n: (float(z[k].mean()), float(z[k].std())) for k, n in enumerate(EFFECTS)}
    verdict = _verdict(case, z, readings, surprise)
    return Posterior(_less_sure_ahead(case, z, verdict), verdict, moments)


def _less_sure_ahead(case: Likelihood, z: Floats, verdict: ReadingVerdict) -> Floats:
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
    case: Likelihood, z: Floats, random: np.random.Generator
) -> tuple[Floats, Floats, float]:
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
            z, log, taken = _move(case, z, log, degree, shape, memory, random)
            memory = min(max(memory + (0.35 - taken) * 0.5, 0.2), 0.97)
    return z, log, surprise


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
) -> tuple[Floats, Floats, float]:
    """One step reversible for the shape's Gaussian, corrected to the tempered posterior."""
    fresh = shape.root @ random.standard_normal(z.shape)
    new = shape.mean + memory * (z - shape.mean) + np.sqrt(1 - memory**2) * fresh
    new_log = case.log_likelihood(new)
    before = degree * log - 0.5 * (z**2).sum(axis=0) + shape.half_square(z)
    after = degree * new_log - 0.5 * (new**2).sum(axis=0) + shape.half_square(new)
    yes = np.log(random.random(log.size)) < after - before
    return np.where(yes, new, z), np.where(yes, new_log, log), float(yes.mean())


def _verdict(
    case: Likelihood, z: Floats, readings: Sequence[MustReading], surprise: float
) -> ReadingVerdict:
    told = np.median(case.predict(z), axis=1)
    miss = (case.seen - told) / case.sd
    places = [k for k, r in enumerate(readings) if r.as_gravity is not None]
    scaled = np.full(len(readings), np.nan)
    scaled[places] = miss
    worst = int(np.argmax(np.abs(miss)))
    odd = places[worst] if abs(miss[worst]) > ODD else None
    means = z[[EFFECT[name] for name in SHAPE]].mean(axis=1)
    bend = float(np.sqrt((means**2).sum()))
    message = _message(readings, scaled, odd, z.shape[1], float(told[worst]))
    elsewhere = bend > BENT or _runs_away(case, miss)
    if odd is None and elsewhere:
        message = BENT_MESSAGE
    explained = odd is None and not elsewhere
    return ReadingVerdict(explained, odd, tuple(float(m) for m in scaled), surprise, message, bend)


def _runs_away(case: Likelihood, miss: Floats) -> bool:
    """Whether the latest reading, or all of them, lie off the members that fit best."""
    if miss.size < FEW:
        return False
    latest = abs(float(miss[np.argmax(case.at_h)]))
    return latest > LAST_ODD or float(np.sqrt(np.mean(miss**2))) > RMS_ODD


def _message(
    readings: Sequence[MustReading], scaled: Floats, odd: int | None, count: int, told: float
) -> str:
    if odd is None:
        return "The readings fit the model."
    many = int(np.nansum(np.abs(scaled) > ODD))
    reading = readings[odd]
    where = f"the reading at {reading.t_h:g} h ({reading.as_gravity:.3f}; runs say {told:.3f})"
    if many == 1:
        return f"None of {count} runs meets {where}: check that reading."
    return f"None of {count} runs looks like these readings; furthest off is {where}."
