"""How is a curve of many points written: all of them at once, from strings that are made once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from mustwright.web.pictures.svg import TimeAxis

LARGEST = 1200  # no picture is wider or taller


@dataclass(frozen=True)
class Scale:
    """Values laid out from `bottom` up to `top`; what lies beyond stands on the edge."""

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


def trail(
    axis: TimeAxis, scale: Scale, hours: Sequence[float], values: Sequence[float]
) -> list[str]:
    """Places of values at hours, as a path holds them; `TimeAxis.x` and `Scale.y` of each.

    Parameters
    ----------
    hours, values : sequence of float
        Of the same length [h after pitch, any unit].
    """
    part = np.clip(np.asarray(hours, dtype=float) / axis.end_h, 0.0, 1.0)
    high = (np.asarray(values, dtype=float) - scale.low) / (scale.high - scale.low)
    x = axis.left + part * (axis.right - axis.left)
    y = scale.bottom - np.clip(high, 0.0, 1.0) * (scale.bottom - scale.top)
    texts = _tenths()
    both = zip(_tenth(x), _tenth(y), strict=True)
    return [f"{texts[i]} {texts[k]}" for i, k in both]


def _tenth(values: np.ndarray) -> list[int]:
    places: list[int] = np.clip(np.rint(10 * values), 0, 10 * LARGEST).astype(int).tolist()
    return places
