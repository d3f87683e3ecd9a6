"""Made-up courses whose shape the model does not have: does a forecast own up to them?

Sugar left, as a share of that at the start, against time: curves of other forms with their times
spread, read eight times with the error of a hydrometer. Later points have to lie in the band.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from calibration.scores import Judged, judge, pool
from mustwright.kinetics import observe
from mustwright.kinetics.forecast import Drawn, fermentations
from mustwright.kinetics.inputs import (
    Conditions,
    MustAtPitch,
    MustReading,
    NitrogenPulse,
    PulseTrigger,
)

Floats = NDArray[np.float64]
MUST = MustAtPitch.from_gravity(1.095, 19.0, ammonium_n_mg_l=15.0, amino_n_mg_l=35.0)
FEEDS = tuple(NitrogenPulse(PulseTrigger(at_h=t), 25.0, 35.0) for t in (24.0, 48.0, 72.0))
READ_UNTIL = 0.45  # of the sugar gone at the last of the eight readings
COURSES, READINGS, MEMBERS = 6, 8, 1000


def logistic(t: Floats, scale: float) -> Floats:
    """Falls about a half-time."""
    whole = 1.0 + np.exp(-3.5)
    return np.asarray(whole / (1.0 + np.exp(3.5 * (t / (0.5 * scale) - 1.0))))


def gompertz(t: Floats, scale: float) -> Floats:
    """Late start, quick fall, long tail."""
    fall = np.exp(-np.exp(1.0 + np.e * (0.12 * scale - t) / (0.45 * scale)))
    first = np.exp(-np.exp(1.0 + np.e * 0.12 / 0.45))
    return np.asarray(1.0 - (fall - first) / (1.0 - first))


def two_phase(t: Floats, scale: float) -> Floats:
    """Half of the sugar quickly, the rest at a third of the pace."""
    start = 0.08 * scale
    gone = np.where(
        t < 0.35 * scale, 0.55 * (t - start) / (0.27 * scale),
        0.55 + 0.45 * (t - 0.35 * scale) / (0.65 * scale),
    )  # fmt: skip
    return np.clip(1.0 - np.maximum(gone, 0.0), 0.0, 1.0)


def late_acceleration(t: Floats, scale: float) -> Floats:
    """Faster and faster until nothing is left."""
    return np.clip(1.0 - (np.maximum(t, 0.0) / scale) ** 2.2, 0.0, 1.0)


SHAPES: dict[str, Callable[[Floats, float], Floats]] = {
    "logistic": logistic,
    "gompertz": gompertz,
    "two_phase": two_phase,
    "late_acceleration": late_acceleration,
}


def gravity_of(left: Floats) -> Floats:
    """Gravity of the must with a share of its sugar left, by the mass balance of the model."""
    gone = MUST.sugar_g_l * (1.0 - left)
    extract = MUST.extract_g_l - gone + 0.07 * gone
    return np.asarray(observe.gravity(extract, 0.470 * gone), float)


def after_readings(members: int = MEMBERS) -> tuple[dict[str, Judged], dict[str, float]]:
    """By shape: later points against the bands after eight readings; and how many count as met."""
    random = np.random.default_rng(5)
    found: dict[str, Judged] = {}
    met: dict[str, float] = {}
    for name, shape in SHAPES.items():
        parts, explained = [], 0
        for scale in np.geomspace(130.0, 380.0, COURSES):
            fine = np.linspace(0.0, scale * 1.6, 2000)
            gone = 1.0 - shape(fine, float(scale))
            until = float(fine[np.argmax(gone >= READ_UNTIL)])
            at = np.round(np.linspace(until / READINGS, until, READINGS), 1)
            later = np.round(until + np.array([0.1, 0.2, 0.35, 0.5, 0.7, 0.9]) * scale, 1)
            error = random.normal(0.0, 0.001, at.size)
            read = [
                MustReading(float(t), gravity=float(g), sd_gravity=0.001)
                for t, g in zip(at, gravity_of(shape(at, float(scale))) + error, strict=True)
            ]
            drawn = fermentations(MUST, FEEDS, Conditions(20.0), members, 7, later, read)
            assert drawn.verdict is not None
            explained += drawn.verdict.explained
            parts.append(
                judge(later, read_gravity(drawn, later), gravity_of(shape(later, float(scale))))
            )
        found[name] = pool(parts)
        met[name] = explained / COURSES
    return found, met


def read_gravity(drawn: Drawn, at_h: Floats) -> Floats:
    """What would be read: gravity of the members, times by members, error included."""
    run = drawn.run
    rows = np.searchsorted(run.times_h, at_h - 1e-6)
    gravity = run.gravity[rows].astype(float)
    noise = np.random.default_rng(4).normal(0.0, 1.0, gravity.shape)
    unmixed = observe.unmixed_sd(drawn.conditions, drawn.must.medium)
    sd = observe.reading_sd(at_h, drawn.conditions.reading_sd_gravity, unmixed)
    return np.asarray(gravity + sd[:, None] * noise)
