"""Where may this must end: the range of final gravity that what it holds allows.

The mass balance gives one figure for a must whose share of fermentable sugar is known. Nobody knows
that share to a hundredth, ethanol is made with a yield of its own, and dextrins, acids and glycerol
stay behind: a ferment is at its end anywhere in this range.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from mustwright import data
from mustwright.batch.corrected_readings import must_course
from mustwright.batch.plan import MustFacts
from mustwright.must.course import Floats

STEPS, SPAN_SDS = 25, 3.2


@dataclass(frozen=True)
class EndGravity:
    """Final gravity of one must as a distribution.

    Parameters
    ----------
    gravity, weight : ndarray
        Even steps from low to high, and the probability of each, adding up to 1 [-].
    low, middle, high : float
        The 5th, 50th and 95th percentile [-].
    original_gravity : float
        Of the must [-].
    sugar_g_l : float
        Fermentable sugar at pitch, middle of its range [g/L].
    """

    gravity: Floats
    weight: Floats
    low: float
    middle: float
    high: float
    original_gravity: float
    sugar_g_l: float

    @property
    def sugar_per_gravity(self) -> float:
        """Grams of fermentable sugar per litre for each 1.000 of gravity that falls [g/L]."""
        return self.sugar_g_l / max(self.original_gravity - self.middle, 1e-3)


def end_gravity(must: MustFacts, original_gravity: float | None = None) -> EndGravity:
    """Final gravity that a must allows.

    Parameters
    ----------
    must : MustFacts
    original_gravity : float or None
        Where honey or fruit raised it since; None for the must's own [-].

    Notes
    -----
    Two half normal curves that meet at the gravity of the mass balance plus an offset; their widths
    are in ``data/watch.toml`` under ``[end]`` with their sources, for a must of 1.100, and go with
    the gravity points of this one.
    """
    return _end(must, must.gravity if original_gravity is None else original_gravity)


@lru_cache(maxsize=1024)
def _end(must: MustFacts, original: float) -> EndGravity:
    course = must_course(must, original)
    record = data.load("watch")["end"]
    scale = max(original - 1.0, 0.02) / 0.1
    offset, below, above = (
        scale * float(record[name]["value"]) for name in ("offset", "below_sd", "above_sd")
    )
    mode = float(course.gravity[-1]) + offset
    at = np.linspace(mode - SPAN_SDS * below, mode + SPAN_SDS * above, STEPS)
    sd = np.where(at < mode, below, above)
    weight = np.exp(-(((at - mode) / sd) ** 2) / 2)
    weight /= weight.sum()
    steps = np.cumsum(weight) - weight / 2
    low, middle, high = (float(np.interp(q, steps, at)) for q in (0.05, 0.5, 0.95))
    return EndGravity(at, weight, low, middle, high, original, course.sugar_g_l)
