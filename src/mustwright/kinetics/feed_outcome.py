"""When one feed falls due, over the members."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mustwright.kinetics.bands import Band, single

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class FeedOutcome:
    """When one feed falls due.

    Parameters
    ----------
    expected_h : Band
        Hours after pitch; inf where the quantile lies among members that never get it.
    chance_never : float
        Share of members in which no condition came true before the horizon.
    chance_left_out : float
        Share in which it came due with too little sugar left.
    """

    expected_h: Band
    chance_never: float
    chance_left_out: float


def feed_outcome(fed_at_h: Floats) -> FeedOutcome:
    """Sum up when a feed was given, by member [h]: inf never due, -1 left out."""
    given = np.where(fed_at_h < 0, np.inf, fed_at_h)
    return FeedOutcome(
        single(given), float(np.mean(np.isinf(fed_at_h))), float(np.mean(fed_at_h < 0))
    )
