"""What do the readings really say: gravities corrected for instrument, temperature and alcohol."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from mustwright import data
from mustwright.batch.entries import ADDS_SUGAR, REFRACTOMETER, Reading
from mustwright.batch.log import Standing, is_event
from mustwright.batch.plan import MustFacts
from mustwright.must.course import Floats, MustCourse, course_of
from mustwright.must.gravity import brix_from_gravity, gravity_from_brix
from mustwright.must.instruments import gravity_from_hydrometer
from mustwright.must.refraction import brix_at_20c_from_refractometer

PRISM_C, PRISM_BRIX = (5.0, 25.0), (10.0, 30.0)  # where OIV2012R corrects for temperature


@dataclass(frozen=True)
class Point:
    """One corrected reading.

    Parameters
    ----------
    at : datetime
    hours : float
        After pitch; negative before it [h].
    gravity, gravity_sd : float
        Apparent, 20/20 °C, and its standard error [-].
    used : float
        Fraction of the fermentable sugar gone.
    original_gravity : float
        Of the must with what was added up to then [-].
    id : str
        Of the entry.
    """

    at: datetime
    hours: float
    gravity: float
    gravity_sd: float
    used: float
    original_gravity: float
    id: str


def error_of(instrument: str) -> float:
    """Standard error of a gravity from this instrument [SG]."""
    return float(data.load("watch")["error"][instrument]["gravity_sd"]["value"])


def must_course(must: MustFacts, original_gravity: float | None = None) -> MustCourse:
    """The course of a must, or of the same must sweetened to another original gravity."""
    brix = must.brix
    if original_gravity is not None and original_gravity != must.gravity:
        brix = float(brix_from_gravity(original_gravity))
    return course_of(round(min(max(brix, 0.5), 60.0), 2), round(must.fermentable_share, 3))


def observed(
    stands: Sequence[Standing], must: MustFacts, pitched: datetime | None
) -> tuple[Point, ...]:
    """Every reading that carries a gravity, corrected, in the order of time.

    Notes
    -----
    Alcohol for the temperature correction of a hydrometer comes from its uncorrected reading: one
    round is enough, since the correction is below 0.005. Where honey or fruit went in, the rise it
    shows is added to the original gravity from there on.
    """
    used = [s for s in stands if isinstance(s.what, Reading) and s.what.has_gravity]
    used = [s for s in used if not s.removed]
    if not used:
        return ()
    raw = corrected([s.what for s in used], must)
    originals = _originals(used, raw, stands, must.gravity)
    gone = np.empty(len(raw))
    start = pitched.timestamp() if pitched else None
    errors = {name: error_of(name) for name in {s.what.instrument for s in used}}
    for original in set(originals):
        here = np.array([o == original for o in originals])
        gone[here] = must_course(must, original).used_at_gravity(np.array(raw)[here])
    return tuple(
        Point(
            stand.at,
            0.0 if start is None else (stand.at.timestamp() - start) / 3600,
            gravity,
            errors[stand.what.instrument],
            float(fraction),
            original,
            stand.entry.id,
        )
        for stand, gravity, fraction, original in zip(used, raw, gone, originals, strict=True)
    )


def _originals(
    used: Sequence[Standing], raw: Sequence[float], stands: Sequence[Standing], original: float
) -> list[float]:
    """Original gravity at each reading, raised by what honey or fruit was seen to add."""
    additions = [s.at for s in stands if is_event(s, *ADDS_SUGAR)]
    if not additions:
        return [original] * len(raw)
    found = []
    for k, (stand, gravity) in enumerate(zip(used, raw, strict=True)):
        if k and any(used[k - 1].at <= a <= stand.at for a in additions):
            original = round(min(max(original + gravity - raw[k - 1], 1.002), 1.24), 4)
        found.append(original)
    return found


def corrected(taken: Sequence[Reading], must: MustFacts) -> list[float]:
    """Apparent gravity 20/20 °C of each reading."""
    course = must_course(must)
    found = np.empty(len(taken))
    hydro = [i for i, r in enumerate(taken) if r.instrument != REFRACTOMETER]
    if hydro:
        found[hydro] = _by_density([taken[i] for i in hydro], course)
    for i, reading in enumerate(taken):
        if reading.instrument == REFRACTOMETER:
            found[i] = _by_refraction(reading, course)
    return [float(v) for v in found]


def _by_density(taken: Sequence[Reading], course: MustCourse) -> Floats:
    shown = np.array([_as_gravity(r) for r in taken])
    sample = np.array([min(max(_sample_c(r), 0.0), 40.0) for r in taken])
    marked = np.array([r.calibration_c for r in taken])
    alcohol = np.clip(course.alcohol_at(course.used_at_gravity(shown)), 0.0, 20.0)
    found = shown.copy()
    for mark in np.unique(marked):
        here = (marked == mark) & ((np.abs(sample - mark) > 0.05) | (mark != 20.0))
        if here.any():
            places = np.stack([shown[here], sample[here], alcohol[here]], axis=1)
            found[here] += _correction(float(mark))(places)
    return found


def _correction(calibration_c: float) -> RegularGridInterpolator:
    """What to add to a hydrometer's reading; made once, however many threads ask for it."""
    with _making:
        return _grid(calibration_c)


_making = threading.Lock()


@lru_cache(maxsize=32)
def _grid(calibration_c: float) -> RegularGridInterpolator:
    """What to add to a hydrometer's reading, on a grid of reading, temperature and alcohol.

    `gravity_from_hydrometer` finds each value by halving, too slow for thousands of readings; the
    grid follows it within 0.0001 (tested).
    """
    shown, sample, alcohol = (
        np.linspace(0.94, 1.26, 33),
        np.linspace(0.0, 40.0, 41),
        np.linspace(0.0, 20.0, 21),
    )
    g, t, a = np.meshgrid(shown, sample, alcohol, indexing="ij")
    add = gravity_from_hydrometer(g, t, calibration_c, a) - g
    return RegularGridInterpolator((shown, sample, alcohol), add)


def _as_gravity(reading: Reading) -> float:
    if reading.gravity is not None:
        return reading.gravity
    assert reading.brix is not None
    return float(gravity_from_brix(reading.brix))


def _sample_c(reading: Reading) -> float:
    for value in (reading.sample_c, reading.temperature_c):
        if value is not None:
            return value
    return reading.calibration_c


def _by_refraction(reading: Reading, course: MustCourse) -> float:
    """A few drops on a prism take its temperature: only a stated sample temperature corrects."""
    assert reading.brix is not None
    brix = reading.brix
    if reading.sample_c is not None and abs(reading.sample_c - 20.0) > 0.05:
        prism = min(max(reading.sample_c, PRISM_C[0]), PRISM_C[1])
        within = min(max(brix, PRISM_BRIX[0]), PRISM_BRIX[1])
        brix += float(brix_at_20c_from_refractometer(within, prism)) - within
    return float(course.gravity_of_refractometer(brix))
