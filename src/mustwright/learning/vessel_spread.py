"""How much vessels of one must differ in this cellar: learned from trials that are open."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from mustwright.learning.trial import TrialRecord
from mustwright.learning.trial_design import VesselSpread

# Fewer degrees of freedom than this leave the spread uncertain by a factor of three and more.
FEWEST_FREEDOM = 3


def vessel_spread(trials: Sequence[TrialRecord], measure: str) -> VesselSpread | None:
    """Pooled within the arms of every open trial of a measure, in any order.

    Parameters
    ----------
    trials : sequence of TrialRecord
        Those still closed are passed over: what differs within an arm would tell the arm.
    measure : str
        As it stands in the trials.

    Returns
    -------
    VesselSpread or None
        None where they leave fewer than `FEWEST_FREEDOM` degrees of freedom.

    Notes
    -----
    Variance within arms; for pairs, half the variance of the differences within pairs, as each
    difference holds the spread of two vessels.
    """
    told = [t for t in trials if t.is_open and t.is_scored and t.measure == measure]
    parts = [_within(trial) for trial in told]
    freedom = sum(count for _, count in parts)
    square = math.fsum(sum_ for sum_, _ in parts)
    if freedom < FEWEST_FREEDOM or square <= 0:
        return None
    return VesselSpread(measure, math.sqrt(square / freedom), freedom, len(told))


def _within(trial: TrialRecord) -> tuple[float, int]:
    """Sum of squares about the means, and its degrees of freedom."""
    if trial.paired:
        pairs: dict[int, list[float]] = {}
        for vessel in sorted(trial.vessels, key=lambda v: v.arm):
            pairs.setdefault(vessel.must, []).append(float(vessel.value or 0.0))
        gaps = np.array([second - first for first, second in pairs.values()])
        return float(((gaps - gaps.mean()) ** 2).sum()) / 2, gaps.size - 1
    square, freedom = 0.0, 0
    for arm in range(1, len(trial.arms) + 1):
        held = np.array([float(v.value or 0.0) for v in trial.vessels if v.arm == arm])
        square += float(((held - held.mean()) ** 2).sum())
        freedom += held.size - 1
    return square, freedom
