"""How is a curve of many points written: all at once, from strings made beforehand.

Pictures of one scene in two widths share the heights of their curves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from mustwright.must.course import Floats
from mustwright.web.pictures.svg import TimeAxis

LARGEST = 1200  # no picture is wider or taller


@dataclass(frozen=True)
class Scale:
    """Values laid out from `bottom` up to `top`; what lies beyond is put on the edge."""

    low: float
    high: float
    top: float
    bottom: float

    def y(self, value: float) -> float:
        """Where a value stands."""
        part = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return round(self.bottom - part * (self.bottom - self.top), 1)


@cache
def _tenths() -> tuple[str, ...]:
    """Every coordinate a picture can have, by tenths, as text."""
    return tuple(f"{k / 10:g}" for k in range(10 * LARGEST + 1))


def trail(across: Sequence[str], up: Sequence[str]) -> list[str]:
    """Points as a path writes them, from what `across` and `up` returned."""
    return list(map(" ".join, zip(across, up, strict=True)))


def across(axis: TimeAxis, hours: Sequence[float] | Floats) -> list[str]:
    """`TimeAxis.x` of each hour after pitch [h], as text."""
    return _tenths_along(hours, 0.0, axis.end_h, axis.left, axis.right)


def up(scale: Scale, values: Sequence[float] | Floats) -> list[str]:
    """`Scale.y` of each value, as text."""
    return _tenths_along(values, scale.low, scale.high, scale.bottom, scale.top)


def _tenths_along(
    values: Sequence[float] | Floats, low: float, high: float, start: float, end: float
) -> list[str]:
    """Places between `start` and `end`, to a tenth; what lies beyond is put on the edge."""
    tenths = np.array(values, dtype=float)
    tenths -= low
    tenths *= 10 * (end - start) / (high - low)
    tenths += 10 * start
    np.rint(tenths, out=tenths)
    first, last = sorted((round(10 * start), round(10 * end)))
    np.maximum(tenths, max(first, 0), out=tenths)
    np.minimum(tenths, min(last, 10 * LARGEST), out=tenths)
    texts = _tenths()
    return [texts[k] for k in tenths.astype(int).tolist()]
