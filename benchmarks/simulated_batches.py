"""Which batches is a judgement tried on: musts, courses of several shapes, stops, readings.

Nothing here is asked of the judgement: courses are drawn from shapes of their own, and a must's end
from its own draw of what ferments, which the plan in the log does not know.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from mustwright.batch.entries import Entry, Event, PlanAdopted, Reading
from mustwright.batch.plan import BatchPlan
from mustwright.must.alcohol import ferment
from mustwright.must.gravity import brix_from_gravity, sugar_g_l_from_brix
from mustwright.services.batch.record import plan_of

Floats = NDArray[np.float64]
SHAPES = ("logistic", "gompertz", "two-phase", "kinetic model")
PITCHED = datetime(2031, 5, 1, 18, tzinfo=UTC)
GRAVITIES = (1.080, 1.090, 1.100, 1.110, 1.120)
TEMPERATURES_C = (16.0, 18.0, 20.0, 22.0)
DAYS = 90.0
GRID_D = np.arange(0.0, DAYS, 0.05)
STANDS = 0.001  # of gravity still to fall when a ferment counts as stopped
READING_SD, GAS_LIFT = 0.0008, 0.002
MODEL_MEMBERS = 200
SHEET = """
[must]
volume = "19 L"
temperature = "{temperature:g} C"
[measured]
gravity = "{gravity:.3f}"
[shelf]
autolysed_yeast = {{}}
dap = {{}}
"""


@dataclass(frozen=True)
class SimulatedBatch:
    """A course that is known whole, and the log a maker would have written of it.

    Parameters
    ----------
    days, gravity, sugar_left_g_l : ndarray
        The course itself [d], [-], [g/L of must].
    stopped_d : float or None
        When less than 0.001 of gravity was still to fall, of one that stops short [d].
    entries : tuple of Entry
        Plan, pitch and readings.
    read_d : tuple of float
        When it was read [d].
    """

    shape: str
    days: Floats
    gravity: Floats
    sugar_left_g_l: Floats
    stopped_d: float | None
    entries: tuple[Entry, ...]
    read_d: tuple[float, ...]

    def left_at(self, day: float) -> float:
        """Fermentable sugar left [g/L of must]."""
        return float(np.interp(day, self.days, self.sugar_left_g_l))


def batches(count: int, seed: int) -> list[SimulatedBatch]:
    """Batches of every shape in turn, every second one of each shape stopping short."""
    chance = random.Random(seed)
    return [
        one_batch(SHAPES[i % len(SHAPES)], (i // len(SHAPES)) % 2 == 1, chance)
        for i in range(count)
    ]


def one_batch(
    shape: str, stops: bool, chance: random.Random, left: tuple[float, float] = (0.18, 0.75)
) -> SimulatedBatch:
    """One batch.

    Parameters
    ----------
    left : tuple of float
        Range of the share of sugar that one that stops leaves.
    """
    gravity, warm = chance.choice(GRAVITIES), chance.choice(TEMPERATURES_C)
    used = COURSES[shape](gravity, warm, chance)
    end = None
    if stops:
        used, end = _stopped(used, 1 - chance.uniform(*left), chance)
    share = min(max(chance.gauss(0.94, 0.02), 0.88), 0.99)
    fall, sugar = _fall(gravity, round(share, 3), round(chance.uniform(0.46, 0.48), 3))
    course = np.interp(used, np.linspace(0.0, 1.0, len(fall)), fall)
    stopped = None
    if end is not None:
        low = float(np.interp(end, np.linspace(0.0, 1.0, len(fall)), fall))
        stopped = float(GRID_D[int(np.argmax(course < low + STANDS))])
    read = _reading_days(chance, 40.0 if stopped is None else min(stopped + 16.0, 60.0))
    entries = _log(plan(gravity, warm), course, read, chance)
    return SimulatedBatch(shape, GRID_D, course, sugar * (1 - used), stopped, entries, read)


@lru_cache(maxsize=64)
def plan(gravity: float, temperature_c: float) -> BatchPlan:
    """What the maker's log knows of the must."""
    sheet = SHEET.format(gravity=gravity, temperature=temperature_c)
    return plan_of(sheet, "staged_for_strong_musts", {})


@lru_cache(maxsize=4096)
def _fall(gravity: float, share: float, ethanol_yield: float) -> tuple[tuple[float, ...], float]:
    """Gravity at even steps of the sugar, and the sugar that ferments [g/L]."""
    extract = float(sugar_g_l_from_brix(brix_from_gravity(gravity)))
    sugar = extract * share
    steps = np.linspace(0.0, sugar, 13)
    return tuple(
        ferment(extract, sugar, float(u), ethanol_yield_g_g=ethanol_yield).gravity for u in steps
    ), sugar


# Courses: share of the sugar that is gone, along `GRID_D` ----------------------------------------


def _slower(warm: float) -> float:
    return float(2 ** ((20.0 - warm) / 10.0))


def _logistic(_gravity: float, warm: float, chance: random.Random) -> Floats:
    slow = _slower(warm)
    middle, width = chance.uniform(3.5, 8.0) * slow, chance.uniform(0.9, 2.2) * slow
    rise = 1 / (1 + np.exp(-(GRID_D - middle) / width))
    return np.asarray((rise - rise[0]) / (1 - rise[0]))


def _gompertz(_gravity: float, warm: float, chance: random.Random) -> Floats:
    slow = _slower(warm)
    middle, width = chance.uniform(2.5, 5.0) * slow, chance.uniform(1.5, 3.5) * slow
    rise = np.exp(-np.exp(-(GRID_D - middle) / width))
    return np.asarray((rise - rise[0]) / (1 - rise[0]))


def _two_phase(_gravity: float, warm: float, chance: random.Random) -> Floats:
    """A straight fall, then a tail at a slower pace."""
    slow = _slower(warm)
    lag, days = chance.uniform(0.5, 1.5) * slow, chance.uniform(4.0, 8.0) * slow
    bend, tail = chance.uniform(0.6, 0.8), chance.uniform(3.0, 7.0) * slow
    since = np.maximum(GRID_D - lag, 0.0)
    straight = bend * since / days
    late = 1 - (1 - bend) * np.exp(-np.maximum(since - days, 0.0) / tail)
    return np.asarray(np.where(since < days, straight, late))


def _kinetic(gravity: float, warm: float, chance: random.Random) -> Floats:
    runs = _model_runs(gravity, warm)
    return runs[chance.randrange(len(runs))]


@lru_cache(maxsize=64)
def _model_runs(gravity: float, warm: float) -> tuple[Floats, ...]:
    """Runs of the fermentation model that get to the end of their sugar."""
    from mustwright.kinetics.forecast import fermentations
    from mustwright.kinetics.inputs import Conditions, MustAtPitch, NitrogenPulse, PulseTrigger

    must = MustAtPitch.from_gravity(gravity, 19.0, amino_n_mg_l=20.0, ammonium_n_mg_l=7.0)
    feeds = [NitrogenPulse(PulseTrigger(at_h=h), 35.0, 45.0) for h in (12.0, 48.0, 96.0)]
    hours = np.arange(0.0, 24 * DAYS, 12.0)
    drawn = fermentations(
        must, feeds, Conditions(warm, horizon_h=24 * DAYS), MODEL_MEMBERS, 7, hours
    )
    sugar = drawn.run.sugar_g_l.astype(float)
    used = 1 - sugar / sugar[0]
    days = drawn.run.times_h / 24
    dry = np.flatnonzero(used[-1] > 0.985)
    return tuple(np.interp(GRID_D, days, used[:, k]) for k in dry)


COURSES: dict[str, Callable[[float, float, random.Random], Floats]] = {
    "logistic": _logistic,
    "gompertz": _gompertz,
    "two-phase": _two_phase,
    "kinetic model": _kinetic,
}


def _stopped(used: Floats, at: float, chance: random.Random) -> tuple[Floats, float]:
    """The course as it comes to rest: its clock runs down within hours or a day or two."""
    rest = chance.uniform(0.2, 0.9)  # days
    start = float(np.interp(at, used, GRID_D)) - rest
    after = np.maximum(GRID_D - start, 0.0)
    clock = np.minimum(GRID_D, start) + rest * (1 - np.exp(-after / rest))
    return np.interp(clock, GRID_D, used), at


# Readings ---------------------------------------------------------------------------------------


def _reading_days(chance: random.Random, until: float) -> tuple[float, ...]:
    """About every day, one in five forgotten but never two in a row; later every other."""
    found, day, forgot = [], 0.0, False
    while day < until:
        day += 1.0 if day < 21 else 2.0
        forgot = not forgot and chance.random() < 0.2
        if not forgot:
            found.append(day + chance.uniform(-0.15, 0.15))
    return tuple(found)


def _log(
    of: BatchPlan, course: Floats, read_d: tuple[float, ...], chance: random.Random
) -> tuple[Entry, ...]:
    """Readings to a thousandth with the error of a hydrometer, one in thirty lifted by gas."""
    entries = [
        Entry("plan", PITCHED, "simulated", PlanAdopted(of), 1, PITCHED),
        Entry("pitch", PITCHED, "simulated", Event("pitched"), 2, PITCHED),
    ]
    for k, day in enumerate(read_d):
        true = float(np.interp(day, GRID_D, course)) + chance.gauss(0.0, READING_SD)
        shown = round(true + (GAS_LIFT if chance.random() < 1 / 30 else 0.0), 3)
        warm = of.must.temperature_c
        at = PITCHED + timedelta(days=day)
        what = Reading(gravity=shown, sample_c=20.0, temperature_c=warm)
        entries.append(Entry(f"r{k}", at, "simulated", what, 3 + k, at))
    return tuple(entries)
