"""How each fermentation of an ensemble ends: dry, stuck, stopped sweet, or still moving."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mustwright.constants import ETHANOL_G_L_PER_PCT_VOL, ETHANOL_YIELD_G_G
from mustwright.kinetics import simulate
from mustwright.kinetics.conditions import Conditions
from mustwright.kinetics.inputs import MustAtPitch

# A ferment that falls less than 0.002 in gravity a day is sluggish (a published threshold, read
# second-hand; used here also above 1.005, where it is 0.005): with sugar left after six weeks it
# has stopped or crawls, and a maker calls it stuck.
STUCK_G_L_PER_DAY = 5.0
SWEET_FROM = 0.9  # of the stated tolerance (assumed)


@dataclass(frozen=True)
class Ends:
    """How each member ends: none of the three is still moving.

    Parameters
    ----------
    dry, sticks, sweet : ndarray
        Dry by the horizon; stopped or crawling with sugar left; stopped where its yeast ends in a
        must that was made to stop sweet.
    """

    dry: NDArray[np.bool_]
    sticks: NDArray[np.bool_]
    sweet: NDArray[np.bool_]


def how_it_ends(run: simulate.Run, must: MustAtPitch, conditions: Conditions) -> Ends:
    """How each member of a run ends.

    Parameters
    ----------
    run : Run
        Has kept a day before its end, and its end.
    must : MustAtPitch
    conditions : Conditions
        The strain's stated tolerance says where a must is meant to stop.

    Returns
    -------
    Ends
    """
    sugar = run.sugar_g_l
    dry = np.isfinite(run.dry_at_h)
    still = sugar[-1 - _steps_of_last_day(run)] - sugar[-1] < STUCK_G_L_PER_DAY
    stopped = ~dry & still
    sweet = stopped & _stopped_sweet(run, must, conditions)
    return Ends(dry, stopped & ~sweet, sweet)


def _stopped_sweet(
    run: simulate.Run, must: MustAtPitch, conditions: Conditions
) -> NDArray[np.bool_]:
    """Whether a member ended where its kind of yeast ends, in a must with sugar beyond that.

    Such a must was made to stop sweet: its sugar could give more than the stated tolerance, and
    the member came to nine tenths of it at least (assumed).
    """
    stated = conditions.strain.alcohol_tolerance_pct_vol * ETHANOL_G_L_PER_PCT_VOL
    if must.ethanol_g_l + ETHANOL_YIELD_G_G * must.sugar_g_l <= stated:
        return np.zeros(run.members.count, bool)
    return np.asarray(run.ethanol_g_l[-1] >= SWEET_FROM * stated)


def _steps_of_last_day(run: simulate.Run) -> int:
    """Kept times between a day before the end and the end."""
    before = run.times_h[-1] - 24.0
    return int(run.times_h.size - 1 - np.searchsorted(run.times_h, before - 1e-9))
