"""What does this finished batch teach: its effects, from its own log alone."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from functools import cache

import numpy as np

from mustwright.batch.kinetic_inputs import case_of
from mustwright.batch.log import Standing
from mustwright.batch.progress import Progress
from mustwright.errors import InputError
from mustwright.kinetics.inputs import FERMENTABLE
from mustwright.kinetics.parameters import EFFECTS, population
from mustwright.kinetics.simulate import DRY_G_L
from mustwright.kinetics.update import posterior
from mustwright.learning.batch_summary import MEMBERS, SEED, BatchSummary, summary_of_posterior
from mustwright.learning.differences import HORIZON_H, days_used, seen_days
from mustwright.planning.likeness import likeness_of
from mustwright.texts import say

FEWEST_READINGS = 3
BAND_OF = "runs that get there"  # in the key: bands of all runs, as once kept, are made anew


def summary_of(
    batch: str, now: Progress, stands: Sequence[Standing], members: int = MEMBERS
) -> BatchSummary:
    """What a batch says of its effects, drawn from the population and bent to its readings.

    Parameters
    ----------
    batch : str
        Its short name.
    now : Progress
    stands : sequence of Standing
        Its log.
    members : int
        Fermentations, 32 to 100 000.

    Returns
    -------
    BatchSummary

    Raises
    ------
    InputError
        Where there is too little in the log to learn from.
    """
    case = case_of(now, stands)
    if case.must.sugar_g_l < DRY_G_L:
        raise InputError(
            "must.gravity", say("needs sugar to learn from its ferment"), say("no sugar")
        )
    after_pitch = sum(r.t_h > 1 for r in case.readings)
    if after_pitch < FEWEST_READINGS:
        need = say(
            "needs {fewest} readings of gravity after the pitch",
            fewest=FEWEST_READINGS,
        )
        raise InputError("readings", need, after_pitch)
    who = population(case.must.medium)
    found = posterior(case.must, case.given, case.conditions, case.readings, members, SEED, who)
    return summary_of_posterior(batch, likeness_of(case.ground), found)


def forecast_and_fact(
    now: Progress, stands: Sequence[Standing]
) -> tuple[tuple[float, float, float], float | None]:
    """What the model says of a batch without its readings of gravity, and what was read.

    Parameters
    ----------
    now : Progress
    stands : sequence of Standing
        Its log.

    Returns
    -------
    band : tuple of float
        5 %, 50 % and 95 % of the days until two thirds of the sugar are gone, of the runs that
        get so far: only a batch that does is held against it, and with all runs the band would
        hold too often [d].
    seen : float or None
        The same by the readings [d]; None where they do not say.

    Raises
    ------
    InputError
        Where the must cannot be forecast.
    """
    case = case_of(now, stands)
    if case.must.sugar_g_l < DRY_G_L:
        raise InputError(
            "must.gravity", say("needs sugar to learn from its ferment"), say("no sugar")
        )
    days = days_used(case)
    there = days[days < HORIZON_H / 24]
    low, middle, high = np.quantile(there if there.size else days, (0.05, 0.5, 0.95))
    return (float(low), float(middle), float(high)), seen_days(now)


@cache
def model_key() -> str:
    """Changes with what is kept of a batch, and with the model it is kept of."""
    populations = [population(medium) for medium in sorted(FERMENTABLE)]
    said = repr((EFFECTS, populations, MEMBERS, BAND_OF))
    return hashlib.sha256(said.encode()).hexdigest()[:16]
