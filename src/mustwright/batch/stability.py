"""Is a batch done, and will it stay so: the finishing bench's own judgement of its readings.

The watch, the next step and the form of the bench all get it here, so that they agree.
"""

from __future__ import annotations

import operator
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from functools import lru_cache
from typing import Any, cast

import numpy as np

from mustwright.batch.corrected_readings import error_of
from mustwright.batch.entries import ADDS_SUGAR
from mustwright.batch.log import Standing, is_event
from mustwright.batch.progress import Progress
from mustwright.batch.series import Series, moment
from mustwright.batch.vessel import VesselContents, steps_done, vessel
from mustwright.errors import InputError
from mustwright.finishing.movement import GravityReading
from mustwright.finishing.stability import Stability, StabilityAsk, judge_stability
from mustwright.finishing.step import finishing_data

SETTLED = ("dry and settled", "settled and sterile", "settled, not safe")
STERILE = ("pasteurised", "sterile-filtered")
SAME_SDS = 2.0
KEPT = 2048  # judgements, about 5 kB each
LONGEST_DAYS, MOST_POINTS = 60.0, 60
LEAST_READ = 3  # readings in two weeks that prove it without those before (assumed)


@dataclass(frozen=True)
class Settled:
    """The judgement and what it was asked.

    Parameters
    ----------
    last_read : datetime
        The last reading it is based on.
    """

    found: Stability
    ask: StabilityAsk
    last_read: datetime

    @property
    def next_check(self) -> datetime:
        """When to look again."""
        return self.last_read + timedelta(days=self.found.next_check_days.value)

    @property
    def is_settled(self) -> bool:
        """Whether gravity stands still, safe or not."""
        return self.found.verdict in SETTLED


def settled(now: Progress, stands: Sequence[Standing], zone: tzinfo = UTC) -> Settled | None:
    """The judgement on a batch as it stands; None with too few readings, or none that fit.

    Parameters
    ----------
    zone : tzinfo
        Where the days of the readings are counted.

    Notes
    -----
    The watch and the next step ask about the same records one after the other: the last answer
    given to this thread is given again.
    """
    asked = (now, stands, zone)
    given = getattr(_last, "given", None)
    if given is not None and all(map(operator.is_, asked, given[0])) and isinstance(stands, tuple):
        return cast("Settled | None", given[1])
    found = _settled(now, stands, zone)
    _last.given = asked, found
    return found


_last = threading.local()


def _settled(now: Progress, stands: Sequence[Standing], zone: tzinfo) -> Settled | None:
    return _judged_series(now, stands, zone, vessel(now, stands))[1]


def series_judged(
    now: Progress, stands: Sequence[Standing], zone: tzinfo, held: VesselContents
) -> Series:
    """The readings that the judgement rests on; those of one level where there is none."""
    return _judged_series(now, stands, zone, held)[0]


def _judged_series(
    now: Progress, stands: Sequence[Standing], zone: tzinfo, held: VesselContents
) -> tuple[Series, Settled | None]:
    """All readings at one level, judged; the latest two weeks of them where these alone prove it.

    The last of a fall lies within the error of what stands still, and would put off for weeks what
    two weeks of readings show. A fall that goes on shows in those two weeks as well.
    """
    every = series_of(now, stands)
    found = _judge(now, every, zone, held)
    if found is None or found.is_settled:
        return every, found
    late = _latest(every, float(finishing_data()["stability"]["least_days"]), zone)
    recent = _judge(now, late, zone, held)
    return (late, recent) if recent is not None and recent.is_settled else (every, found)


def _judge(now: Progress, series: Series, zone: tzinfo, held: VesselContents) -> Settled | None:
    if len(series) < 2:
        return None
    try:
        ask, found = _judged(*_rows(series), zone, *_asked(now, held))
    except InputError:
        return None
    return Settled(found, ask, series[-1].at)


def _latest(series: Series, days: float, zone: tzinfo) -> Series:
    """The fewest latest readings that span so many days; none where they are too few, or all."""
    last = day_of(series[-1].at, zone)
    for k in range(len(series) - 2, 0, -1):
        if (last - day_of(series[k].at, zone)).days >= days:
            return series[k if len(series) - k >= LEAST_READ else len(series) :]
    return series[:0]


@lru_cache(maxsize=KEPT)
def _judged(
    at_us: bytes, gravity: bytes, gravity_sd: bytes, zone: tzinfo, *rest: Any
) -> tuple[StabilityAsk, Stability]:
    """The same question is judged once: every look at a batch that stands still asks it again."""
    ask = StabilityAsk(_readings(at_us, gravity, gravity_sd, zone), *rest)
    return ask, judge_stability(ask)


def series_of(now: Progress, stands: Sequence[Standing]) -> Series:
    """The latest readings at one level, back to where it changed; at least two, if there are two.

    What went in changes the level, so readings from before it are left out. Many are
    thinned to the first, the last and some between.
    """
    since = mixed_at(stands)
    every = now.points.and_then(now.later)
    if since is not None:
        every = every[every.until(since) :]
    run = _at_one_level(every)
    step = max(len(run) / MOST_POINTS, 1.0)
    if step == 1.0:
        return run
    return run.take(sorted({len(run) - 1, *(int(i * step) for i in range(MOST_POINTS))}))


def _at_one_level(every: Series) -> Series:
    """The latest readings since the pitch, back to the first at another level, or too old.

    The latest two are kept whatever they say.
    """
    after = every.past_hour(0.0)
    if len(after) < 3:
        return after
    reach = SAME_SDS * np.maximum(after.gravity_sd, after.gravity_sd[-1])
    same = np.abs(after.gravity - after.gravity[-1]) <= reach
    if not same[-2]:
        return after[-2:]
    same &= after.hours >= after.hours[-1] - LONGEST_DAYS * 24
    other = np.flatnonzero(~same[:-2])
    return after[int(other[-1]) + 1 if other.size else 0 :]


def mixed_at(stands: Sequence[Standing]) -> datetime | None:
    """When something with sugar, or another mead, last went in: readings before do not count.

    Topping up with water or a similar mead is within the error of a reading.
    """
    steps = [
        at
        for at, done in steps_done(stands)
        if done.ends_ferment or any(one.brings_g.get("sugar", 0.0) > 0 for one in done.added)
    ]
    found = steps + [s.at for s in stands if is_event(s, *ADDS_SUGAR)]
    return max(found, default=None)


@lru_cache(maxsize=64)
def error_90(gravity_sd: float) -> float:
    """Error of a reading against others of the same instrument, nine times in ten [SG].

    That of the bench for a hydrometer; for other instruments in proportion to their errors
    (assumed).

    Parameters
    ----------
    gravity_sd : float
        Standard error of the reading [SG].
    """
    bench = float(finishing_data()["stability"]["reading_error"]["typical"])
    return round(bench * gravity_sd / error_of("hydrometer"), 5)


def ask_of(now: Progress, held: VesselContents, series: Series, zone: tzinfo) -> StabilityAsk:
    """What the bench is asked of a batch, with days in that zone."""
    return StabilityAsk(_readings(*_rows(series), zone), *_asked(now, held))


def _rows(series: Series) -> tuple[bytes, bytes, bytes]:
    """When, what and how well it was read, to be compared with what was judged before."""
    return series.at_us.tobytes(), series.gravity.tobytes(), series.gravity_sd.tobytes()


def _readings(
    at_us: bytes, gravity: bytes, gravity_sd: bytes, zone: tzinfo
) -> tuple[GravityReading, ...]:
    rows = zip(
        np.frombuffer(at_us, np.int64).tolist(),
        np.frombuffer(gravity).tolist(),
        np.frombuffer(gravity_sd).tolist(),
        strict=True,
    )
    return tuple(
        GravityReading(
            float(day_of(moment(at), zone).toordinal()), round(value, 4), error_90(deviation)
        )
        for at, value, deviation in rows
    )


def _asked(now: Progress, held: VesselContents) -> tuple[Any, ...]:
    """What the bench is asked beside the readings, in the order of `StabilityAsk`."""
    yeast = now.plan.yeast
    return (
        None,
        round(now.original_gravity, 4) if held.original_gravity else None,
        None if held.residual_sugar_g_l is None else float(f"{held.residual_sugar_g_l:.4g}"),
        yeast.tolerance_low_pct,
        yeast.tolerance_high_pct,
        float(f"{held.alcohol_pct:.4g}"),
        nitrogen_left_mg_l(now),
        held.stabilised in STERILE,
    )


def nitrogen_left_mg_l(now: Progress) -> float:
    """Nitrogen brought and fed less what this yeast takes [mg N/L]; never below zero."""
    n = now.plan.nitrogen
    return round(max(n.must_mg_l + n.rehydration_mg_l + now.fed_mg_l - n.demand_mg_l, 0.0), 1)


def day_of(at: datetime, zone: tzinfo) -> date:
    """The day of a reading, as the bench counts them."""
    return at.astimezone(zone).date()
