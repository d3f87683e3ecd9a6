"""Which points of a curve does a picture need: those without which it would look different."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

SEEN_PX = 1.0  # a curve that passes this near is the same one to the eye


def needed_points(places: Any, rows: Sequence[Any], px_per_unit: float) -> list[int]:
    """Places to keep so that straight strokes between them stay within `SEEN_PX` of every row.

    Parameters
    ----------
    places : array_like
        Where the points lie along the axis, rising.
    rows : sequence of array_like
        Heights at these places, of one or more curves that share their points.
    px_per_unit : float
        Of the heights.

    Returns
    -------
    list of int
        The first and the last, and as few as will do between them.
    """
    x, heights = np.asarray(places, dtype=float), np.array(rows, dtype=float) * abs(px_per_unit)
    if len(x) < 3:
        return list(range(len(x)))
    kept, open_parts = {0, len(x) - 1}, [(0, len(x) - 1)]
    while open_parts:
        first, last = open_parts.pop()
        if last - first < 2:
            continue
        part = (x[first : last + 1] - x[first]) / (x[last] - x[first])
        ends = heights[:, [first]], heights[:, [last]]
        off = np.abs(heights[:, first : last + 1] - ends[0] - part * (ends[1] - ends[0])).max(0)
        worst = int(off.argmax())
        if off[worst] > SEEN_PX:
            middle = first + worst
            kept.add(middle)
            open_parts += [(first, middle), (middle, last)]
    return sorted(kept)
