"""Does it still fall, has it come to rest short of its end, or is it there: readings weighed.

Three accounts of the latest readings are weighed against one another by Bayes' rule: sugar goes at
a pace in proportion to what is left (*falls*); it did until some moment and then no more (*rests*);
or hardly any is left (*at its end*). How much sugar a gravity stands for depends on where this must
ends, which is known as a range (`end_gravity`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from itertools import pairwise

import numpy as np
from scipy.special import log_ndtr

from mustwright import data
from mustwright.batch.end_gravity import EndGravity
from mustwright.batch.quantiles import Quantiles
from mustwright.batch.series import Series, digest_of_rows
from mustwright.must.course import Floats
from mustwright.recent import Recent

MOST_READINGS, BIN_H = 16, 12.0
LONGEST_H = 24.0 * 30
DISCREPANCY = 0.25  # of a fall: how far a ferment's pace departs from the account (assumed)
RESTED_D = (0.75, 1.5, 2.5, 4.0, 6.0, 9.0, 40.0)  # days before the last reading it may rest since
POINTS = np.array([-1.2816, -0.5244, 0.0, 0.5244, 1.2816])  # fifths of a normal curve
NEGLIGIBLE = 1e-4
SAME_SDS = 2.0
EARLY_SHARE, GROWS_PER_DAY = 0.3, (0.15, 1.8)
NEAR = 0.02  # of gravity: readings before it was that near to the latest say nothing of its rest
MOST_RESTED_D = 20.0
MOST_KEPT_BYTES, KEPT_BYTES = 24e6, 1000  # of what readings said, and of each beside its rows
FRESH_D = 0.25  # a reading so old still says how it stands
_FIVE = (0.05, 0.25, 0.5, 0.75, 0.95)


@dataclass(frozen=True)
class SugarPosterior:
    """What the readings say of sugar and pace, now.

    Parameters
    ----------
    sugar_left_g_l : Quantiles
        Fermentable sugar left [g/L].
    fall_per_day : Quantiles
        Of gravity, when last read [1/day].
    chance_stopped_short : float
        That it rests, or falls by less than the threshold, with more sugar left than counts.
    chance_finished : float
        That it rests, or falls by less than that, with less sugar left than counts.
    left_when_read_g_l : float
        The middle of it when it was last read [g/L].
    stood_h : float
        How long gravity has shown no fall [h].
    count : int
        Readings in that time.
    """

    sugar_left_g_l: Quantiles
    fall_per_day: Quantiles
    chance_stopped_short: float
    chance_finished: float
    left_when_read_g_l: float
    stood_h: float
    count: int


def weigh(
    series: Series, end: EndGravity, temperature_c: float, age_h: float, rest_odds: float = 1.0
) -> SugarPosterior:
    """What the latest readings say.

    Parameters
    ----------
    series : Series
        Readings of one liquid since the pitch, at least one.
    end : EndGravity
    temperature_c : float
        Of the must, -5 to 45 [°C].
    age_h : float
        How long ago the last reading was, at least 0 [h].
    rest_odds : float
        How many times likelier than usual it is that it rests, before the readings are looked at.
    """
    read = _read(series, end, round(temperature_c), rest_odds)
    age_d = max(age_h, 0.0) / 24
    return read.posterior if age_d < FRESH_D else _posterior(read, _by_now(read, age_d))


@dataclass(frozen=True)
class _Read:
    """What readings said when the last of them was read; not what became of it since.

    Parameters
    ----------
    left, rate, weight : ndarray
        Cases: gravity left to fall [-], share of it that goes in a day [1/day], and how likely.
    when_read_g_l, stood_h, count, per_gravity
        As in `SugarPosterior`, and sugar by gravity [g/L].
    """

    left: Floats
    rate: Floats
    weight: Floats
    when_read_g_l: float
    stood_h: float
    count: int
    per_gravity: float

    @cached_property
    def posterior(self) -> SugarPosterior:
        """While the reading is fresh."""
        return _posterior(self, (self.left, self.left * self.rate, self.weight))


def _posterior(read: _Read, now: tuple[Floats, Floats, Floats]) -> SugarPosterior:
    left, fall, weight = now
    sugar = read.per_gravity * left
    still = fall < _threshold("stuck", "fall_per_day")
    counts = sugar > _threshold("stuck", "sugar_left_g_l")
    return SugarPosterior(
        quantiles_of(sugar, weight),
        quantiles_of(fall, weight),
        float(weight[still & counts].sum()),
        float(weight[still & ~counts].sum()),
        read.when_read_g_l,
        read.stood_h,
        read.count,
    )


_kept: Recent[_Read] = Recent(
    MOST_KEPT_BYTES,
    lambda read: read.left.nbytes + read.rate.nbytes + read.weight.nbytes + KEPT_BYTES,
)


def _read(series: Series, end: EndGravity, temperature_c: int, rest_odds: float) -> _Read:
    """Kept, as these readings say the same until there is another one."""
    rows = (series.hours, series.gravity, series.gravity_sd, end.gravity, end.weight)
    rest = (end.original_gravity, end.middle, end.sugar_per_gravity, temperature_c, rest_odds)
    named = (digest_of_rows(rows), *rest)
    kept = _kept.get(named)
    if kept is None:
        kept = _weighed(series, end, temperature_c, rest_odds)
        _kept.keep(named, kept)
    return kept


def _weighed(series: Series, end: EndGravity, temperature_c: int, rest_odds: float) -> _Read:
    hours, gravity, sd = _window(series)
    back_d = (hours[-1] - hours) / 24
    sd = np.hypot(sd, DISCREPANCY * np.maximum(gravity - gravity[-1], 0.0))
    rates, prior = _rates(temperature_c)
    going = _going(gravity, sd, back_d, end, rates)
    log_weight, left, rate = (
        np.concatenate(rows)
        for rows in zip(
            *(
                _points(*account)
                for account in (
                    _falls(going, end, rates, prior),
                    _ended(going, end, rates, prior),
                    _rests(gravity, sd, back_d, end, rates, rest_odds * prior),
                    *_takes_off(gravity, sd, back_d, end),
                )
            ),
            strict=True,
        )
    )
    weight = np.exp(log_weight - log_weight.max())
    real = weight > NEGLIGIBLE
    weight, left, rate = weight[real], left[real], rate[real]
    weight /= weight.sum()
    per_gravity = end.sugar_per_gravity
    when_read = per_gravity * (quantiles_of(left, weight).p50 or 0.0)
    return _Read(left, rate, weight, when_read, *_stood(series), per_gravity)


def quantiles_of(values: Floats, weight: Floats) -> Quantiles:
    """Five quantiles of weighed values."""
    order = np.argsort(values)
    along = np.cumsum(weight[order])
    along = (along - weight[order] / 2) / along[-1]
    return Quantiles(*np.interp(_FIVE, along, values[order]).tolist())


def by_gravity(gravity: float, end: EndGravity) -> Quantiles:
    """Sugar that a gravity alone allows, as its must may end lower or higher [g/L]."""
    over = np.maximum(gravity - end.gravity, 0.0)
    return quantiles_of(end.sugar_per_gravity * over, end.weight)


def untested(left: Quantiles, gravity: float, end: EndGravity) -> Quantiles:
    """Sugar at the end that nobody tested: a stop near the end looks like the end [g/L].

    Up to what the gravity alone allows. Above where the must may end, the gravity alone counts:
    some sugar is left for certain.
    """
    alone = by_gravity(gravity, end)
    return alone if alone.p05 else replace(left, p95=max(left.p95 or 0.0, alone.p95 or 0.0))


def at_its_limit(found: SugarPosterior) -> SugarPosterior:
    """Where its yeast bears no more alcohol, a rest is the end, sweet as it is."""
    rests = found.chance_stopped_short + found.chance_finished
    return replace(found, chance_stopped_short=0.0, chance_finished=rests)


def unseen(whole: float, days: float) -> Quantiles:
    """Sugar left so many days after a usual start that nobody saw, up to all of it [g/L]."""
    share, spread = _prior("share_per_day"), _prior("share_spread")
    paces = (share * spread**1.645, share * spread**0.674, share)
    low, lower, middle = (whole * math.exp(-pace * days) for pace in paces)
    return Quantiles(low, lower, middle, (middle + whole) / 2, whole)


def _threshold(rule: str, name: str) -> float:
    return float(data.load("watch")["rule"][rule][name]["value"])


def _prior(name: str) -> float:
    return float(data.load("watch")["rest"][name]["value"])


def _window(series: Series) -> tuple[Floats, Floats, Floats]:
    """The latest readings; many of a device are taken together by half days."""
    hours, gravity, sd = series.hours, series.gravity, series.gravity_sd
    keep = (hours >= hours[-1] - LONGEST_H) & (gravity <= gravity[-2:].min() + NEAR)
    keep[-3:] = True
    first = int(np.flatnonzero(~keep)[-1]) + 1 if not keep.all() else 0
    hours, gravity, sd = hours[first:], gravity[first:], sd[first:]
    if len(hours) <= MOST_READINGS:
        return hours, gravity, sd
    bins = np.floor((hours[-1] - hours) / BIN_H)  # falling, as readings are in order of time
    starts = [0, *(np.flatnonzero(np.diff(bins)) + 1).tolist()]
    parts = list(pairwise([*starts, len(bins)]))[-MOST_READINGS:]
    sums = ([np.add.reduce(row[a:b]) / (b - a) for a, b in parts] for row in (hours, gravity, sd))
    middle_h, middle, error = sums
    few = [math.sqrt(min(b - a, 4)) for a, b in parts]
    return np.array(middle_h), np.array(middle), np.array(error) / np.array(few)


def _warm(temperature_c: float) -> float:
    """Pace over that at 20 °C; twice as fast for each 10 °C (`share_per_day`)."""
    return float(2 ** ((min(max(temperature_c, 4.0), 32.0) - 20.0) / 10.0))


@lru_cache(maxsize=64)
def _rates(temperature_c: int) -> tuple[Floats, Floats]:
    """Share of the sugar left that goes in a day, and the prior of each [1/day]."""
    middle = _prior("share_per_day") * _warm(temperature_c)
    spread = math.log(_prior("share_spread"))
    z = np.linspace(-2.4, 2.4, 7)
    weight = np.exp(-(z**2) / 2)
    return middle * np.exp(spread * z), weight / weight.sum()


Fit = tuple[Floats, Floats, Floats]  # height over the end, its error, likelihood
Account = tuple[Floats, Floats, Floats, Floats]  # log weight, height over the end, error, rate


def _fit(gravity: Floats, sd: Floats, x: Floats, end: EndGravity) -> Fit:
    """Height over the end that suits best, its error, and the logarithm of the likelihood.

    Parameters
    ----------
    x : ndarray
        Accounts by readings: height at each reading over that at the last.
    """
    w = sd**-2
    xx = ((x * x) @ w)[:, None]
    xg, x1 = x @ (w * gravity), x @ w
    height = (xg[:, None] - x1[:, None] * end.gravity) / xx
    over = gravity - end.gravity[:, None]
    return height, xx**-0.5, -((over * over) @ w - height**2 * xx) / 2


def _going(gravity: Floats, sd: Floats, back_d: Floats, end: EndGravity, rates: Floats) -> Fit:
    """It falls by a share of what is left each day, up to the last reading."""
    return _fit(gravity, sd, np.exp(np.minimum(rates[:, None] * back_d, 12.0)), end)


def _falls(going: Fit, end: EndGravity, rates: Floats, prior: Floats) -> Account:
    """Any height over the end is as likely as any other."""
    height, error, fit = going
    log = fit + _anywhere(height, error, end) + np.log(prior[:, None] * end.weight)
    return log, height, error, rates[:, None]


def _takes_off(gravity: Floats, sd: Floats, back_d: Floats, end: EndGravity) -> list[Account]:
    """Early on the fall itself grows from day to day; nothing where more than a quarter is gone."""
    start = end.original_gravity
    if start - gravity[-1] > EARLY_SHARE * (start - end.middle):
        return []
    growth = np.geomspace(*GROWS_PER_DAY, 7)
    w = sd**-2
    x = np.exp(-growth[:, None] * back_d)
    xx = (x * x) @ w
    fallen = (x @ (w * (start - gravity))) / xx
    error = xx**-0.5
    square = float(w @ (start - gravity) ** 2)
    reach = start - end.middle
    fit = -(square - fallen**2 * xx) / 2
    log = fit + log_ndtr(fallen / error) + np.log(math.sqrt(2 * math.pi) * error / reach / 7)
    height = np.maximum(reach - fallen, 1e-4)
    rate = growth * np.maximum(fallen, 0.0) / height
    return [(log[:, None], height[:, None], error[:, None], rate[:, None])]


def _ended(going: Fit, end: EndGravity, rates: Floats, prior: Floats) -> Account:
    """Hardly any sugar is left."""
    height, error, fit = going
    near = _prior("ended_within_g_l") / end.sugar_per_gravity
    both = np.hypot(error, near)
    middle, width = height * (near / both) ** 2, error * near / both
    log = (
        fit
        - (height / both) ** 2 / 2
        + math.log(2)
        + np.log(error / both)
        + log_ndtr(middle / width)
    )
    log += np.log(prior[:, None] * end.weight * _prior("ended"))
    return log, middle, width, rates[:, None]


def _rests(
    gravity: Floats, sd: Floats, back_d: Floats, end: EndGravity, rates: Floats, prior: Floats
) -> Account:
    """It fell until some moment; how long ago is as likely as the days are many."""
    since = np.array(RESTED_D)
    share = _prior("stops_per_day") * np.diff([0.0, *np.minimum(since, MOST_RESTED_D)])
    known = np.r_[True, since[:-1] < back_d[0] + 1e-9]  # longer ago than was read is one case
    share = np.r_[share[known][:-1], share[known][-1] + share[~known].sum()]
    since = since[known]
    fell_d = np.maximum(back_d - since[:, None], 0.0)
    x = np.exp(np.minimum(rates[:, None, None] * fell_d, 12.0)).reshape(-1, len(back_d))
    height, error, fit = _fit(gravity, sd, x, end)
    weight = (prior[:, None] * share).reshape(-1, 1)
    log = fit + _anywhere(height, error, end) + np.log(weight * end.weight)
    return log, height, error, np.zeros((len(x), 1))


def _anywhere(height: Floats, error: Floats, end: EndGravity) -> Floats:
    """Evidence for a height above the end that may be anything up to the start."""
    reach = np.maximum(end.original_gravity - end.gravity, 0.01)
    return np.asarray(log_ndtr(height / error) + np.log(math.sqrt(2 * math.pi) * error / reach))


def _points(log: Floats, height: Floats, error: Floats, rate: Floats) -> tuple[Floats, ...]:
    """Each account as points of equal weight over its error; those that count for nothing go."""
    keep = log > log.max() + math.log(NEGLIGIBLE)
    error, rate = (np.broadcast_to(v, log.shape)[keep][:, None] for v in (error, rate))
    left = np.maximum(height[keep][:, None] + error * POINTS, 0.0)
    weight = np.broadcast_to(log[keep][:, None], left.shape)
    return weight.ravel(), left.ravel(), np.broadcast_to(rate, left.shape).ravel()


def _by_now(read: _Read, age_d: float) -> tuple[Floats, Floats, Floats]:
    """Carried on from the last reading: it went on at its pace, or came to rest on the way."""
    left, rate, weight = read.left, read.rate, read.weight
    fall = left * rate
    stops = -math.expm1(-_prior("stops_per_day") * age_d)
    gone, half = np.exp(-rate * age_d), np.exp(-rate * age_d / 2)
    return (
        np.concatenate([left * gone, left * half]),
        np.concatenate([fall * gone, np.zeros_like(fall)]),
        np.concatenate([weight * (1 - stops), weight * stops]),
    )


def _stood(series: Series) -> tuple[float, int]:
    """How long the readings show no fall, back from the last, and how many they are [h]."""
    gravity, sd, hours = series.gravity, series.gravity_sd, series.hours
    reach = SAME_SDS * np.maximum(sd, sd[-1])
    other = np.flatnonzero(gravity > np.median(gravity[-3:]) + reach)
    first = int(other[-1]) + 1 if other.size else 0
    first = min(first, len(hours) - 1)
    if first == len(hours) - 2 and gravity[first] - gravity[-1] > SAME_SDS * math.hypot(
        sd[first], sd[-1]
    ):
        first += 1  # two readings that differ are a fall, not a stand
    return float(hours[-1] - hours[first]), len(hours) - first
