"""What can a trial of so many vessels show: said before honey is bought.

One must split into vessels that differ in one thing, or several musts each split in two.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from mustwright.errors import InputError
from mustwright.learning.randomisation import arms_effect, paired_effect
from mustwright.learning.serving_order import three_digit_codes
from mustwright.texts import say

LEVEL, POWER = 0.05, 0.80
FEWEST_VESSELS, MOST_VESSELS, MOST_ARMS, MOST_PAIRS = 2, 24, 6, 16
# No source gives how far vessels of one must differ at home: one in one, until the maker's own
# splits say. A difference is then told in such spreads.
ASSUMED_SPREAD = 1.0
_ROUNDS = 1000
_COUNTED = 5  # vessels an arm up to which the chance is counted; beyond, Student's t serves as well
THINGS = ("protocol", "nutrient", "yeast", "pitch", "temperature", "salt", "other")
THING_WORDS = {
    "protocol": say("protocol"),
    "nutrient": say("nutrient"),
    "yeast": say("yeast"),
    "pitch": say("pitch"),
    "temperature": say("temperature"),
    "salt": say("salt", context="pH"),
    "other": say("other", context="thing"),
}


@dataclass(frozen=True)
class Allotted:
    """One vessel of a trial.

    Parameters
    ----------
    vessel : int
        From 1.
    arm : int
        From 1.
    code : int
        Three digits for the label; says nothing of the arm.
    must : int
        From 1: which must, where several are split in pairs; else 1.
    """

    vessel: int
    arm: int
    code: int
    must: int = 1


@dataclass(frozen=True)
class VesselSpread:
    """Spread from vessel to vessel of one must, of one measure.

    Parameters
    ----------
    measure : str
        What was scored or read off.
    sd : float
        Standard deviation, over 0 [unit of the measure].
    freedom : int
        Degrees of freedom it rests on.
    trials : int
        How many trials it comes from.
    """

    measure: str
    sd: float
    freedom: int
    trials: int


@dataclass(frozen=True)
class TrialPlan:
    """What a layout can and cannot show.

    Parameters
    ----------
    vessels, arms : int
    paired : bool
        Several musts, each split in two.
    smallest_p : float
        Smallest p the exact randomisation test can reach [-]: one-sided for two arms, for "do they
        differ at all" where there are more.
    allocation : tuple of Allotted
    detectable_difference : float or None
        Difference of two arms found with a chance of `POWER` at `LEVEL`, in the unit of `spread`;
        None where no difference, however large, could be shown.
    spread : float
        Standard deviation from vessel to vessel it was worked out with.
    spread_assumed : bool
        True until the maker's own splits say how large it is.
    learned : VesselSpread or None
        The maker's own splits it was taken from.
    vessels_needed : int
        Smallest number of vessels of this kind of layout that can reach `LEVEL`.
    message : str
        What to know before honey is bought.
    """

    vessels: int
    arms: int
    paired: bool
    smallest_p: float
    allocation: tuple[Allotted, ...]
    detectable_difference: float | None
    spread: float
    spread_assumed: bool
    vessels_needed: int
    message: str
    learned: VesselSpread | None = None


def smallest_p(vessels: int, arms: int = 2, paired: bool = False) -> float:
    """Smallest p that the randomisation test of a layout can reach.

    Parameters
    ----------
    vessels : int
        2 to 24, a multiple of `arms`.
    arms : int
        2 to 6.
    paired : bool
        Pairs of vessels, one must each (two arms).

    Returns
    -------
    float
        p [-]: ``1 / C(k, k/2)`` one-sided for two arms, ``2^-n`` for n pairs, arms! over the number
        of ways of dealing for more arms.

    Raises
    ------
    InputError
        For a layout that cannot be dealt evenly.

    Examples
    --------
    >>> [round(smallest_p(k), 3) for k in (4, 6, 8)]
    [0.167, 0.05, 0.014]
    """
    _check_layout(vessels, arms, paired)
    if paired:
        return float(2.0 ** -(vessels // 2))
    each = vessels // arms
    ways = math.factorial(vessels) / math.factorial(each) ** arms
    return float((1 if arms == 2 else math.factorial(arms)) / ways)


def plan_trial(
    vessels: int,
    arms: int = 2,
    seed: int = 1,
    paired: bool = False,
    spread: float | VesselSpread | None = None,
) -> TrialPlan:
    """Deal the vessels to the arms by lot, and say what the trial can show.

    Parameters
    ----------
    vessels : int
        2 to 24, a multiple of `arms`.
    arms : int
        2 to 6.
    seed : int
        Same seed, same lot and codes.
    paired : bool
        Several musts, each split in two vessels.
    spread : float, VesselSpread or None
        The maker's own standard deviation from vessel to vessel, over 0 [any unit]; that of
        what will be compared; typed, or learned from trials. None assumes `ASSUMED_SPREAD`.

    Returns
    -------
    TrialPlan

    Raises
    ------
    InputError
        For a layout that cannot be dealt evenly.
    """
    _check_layout(vessels, arms, paired)
    learned = spread if isinstance(spread, VesselSpread) else None
    sd = spread.sd if isinstance(spread, VesselSpread) else spread
    if sd is not None and not 0 < sd < 1e6:
        raise InputError("spread", say("a number over 0"), sd)
    least = smallest_p(vessels, arms, paired)
    unit = ASSUMED_SPREAD if sd is None else sd
    factor = _detectable(vessels // arms, paired)
    needed = next(
        k for k in range(arms, 10 * MOST_VESSELS, arms) if _reaches(_least(k, arms, paired))
    )
    return TrialPlan(
        vessels,
        arms,
        paired,
        least,
        allot(vessels, arms, seed, paired),
        None if factor is None else factor * unit,
        unit,
        sd is None,
        needed,
        _message(vessels, paired, least, factor, needed),
        learned,
    )


def allot(vessels: int, arms: int, seed: int, paired: bool = False) -> tuple[Allotted, ...]:
    """Arms dealt to vessels by lot, with a code for each label.

    Parameters
    ----------
    vessels : int
        2 to 24, a multiple of `arms`.
    arms : int
        2 to 6.
    seed : int
    paired : bool

    Returns
    -------
    tuple of Allotted

    Raises
    ------
    InputError
        For a layout that cannot be dealt evenly.
    """
    _check_layout(vessels, arms, paired)
    random = np.random.Generator(np.random.Philox(seed))
    codes = three_digit_codes(vessels, seed)
    if paired:
        dealt = [int(a) for _ in range(vessels // 2) for a in random.permutation(2) + 1]
        musts = [k // 2 + 1 for k in range(vessels)]
    else:
        dealt = [int(a) for a in random.permutation(np.arange(vessels) % arms) + 1]
        musts = [1] * vessels
    return tuple(
        Allotted(k + 1, arm, code, must)
        for k, (arm, code, must) in enumerate(zip(dealt, codes, musts, strict=True))
    )


def _least(vessels: int, arms: int, paired: bool) -> float:
    """`smallest_p` without the limit of what is offered."""
    if paired:
        return float(2.0 ** -(vessels // 2))
    each = vessels // arms
    ways = math.prod(math.comb(vessels - a * each, each) for a in range(arms))
    return (1 if arms == 2 else math.factorial(arms)) / ways


def _reaches(p: float) -> bool:
    return p <= LEVEL * (1 + 1e-9)


@cache
def _detectable(each: int, paired: bool) -> float | None:
    """Difference of two arms with `each` vessels found with `POWER`, in spreads; None if never.

    The chance of finding it is counted over seeded normal vessels; the same vessels at every
    difference, so that the chance only rises with it.
    """
    if not _reaches(_least(2 * each, 2, paired)):
        return None
    if each > (2 * _COUNTED if paired else _COUNTED):
        return round(_detectable_by_t(each, paired), 2)
    random = np.random.Generator(np.random.Philox(2 * each + paired))
    pairs = random.standard_normal((_ROUNDS, 2, each))
    needed = [_needed_shift(a, b, paired) for a, b in pairs]
    return round(float(np.quantile(needed, POWER)), 2)


def _detectable_by_t(each: int, paired: bool) -> float:
    """The same from the noncentral t distribution: the two tests hardly differ from here on."""
    from scipy.optimize import brentq
    from scipy.stats import nct, t

    freedom = each - 1 if paired else 2 * each - 2
    needed = float(t.isf(LEVEL, freedom))
    root = math.sqrt(each / 2)
    return float(brentq(lambda d: nct.sf(needed, freedom, d * root) - POWER, 0.01, 10.0))


def _needed_shift(first: np.ndarray, second: np.ndarray, paired: bool) -> float:
    """Shift of the second arm from which the one-sided test at `LEVEL` finds it.

    By the test's own duality this is how far its lower bound lies below zero.
    """
    confidence = 1 - 2 * LEVEL
    result = (
        paired_effect(second - first, confidence)
        if paired
        else arms_effect(list(first), list(second), confidence)
    )
    assert result.low is not None
    return -result.low


def _message(vessels: int, paired: bool, least: float, factor: float | None, needed: int) -> str:
    if factor is None and paired:
        return say(
            "With {pairs} pairs no difference, however large, can be told from chance at 5 %: the "
            "smallest p is {least:.3f}. Take {needed} pairs, or treat this trial as a hint only.",
            pairs=vessels // 2,
            least=least,
            needed=needed // 2,
        )
    if factor is None:
        return say(
            "With {vessels} vessels no difference, however large, can be told from chance at 5 %: "
            "the smallest p is {least:.3f}. Take {needed} vessels, or treat this trial as a hint "
            "only.",
            vessels=vessels,
            least=least,
            needed=needed,
        )
    if paired:
        found = say(
            "With {pairs} pairs a difference of {factor:.1f} times the spread from vessel to "
            "vessel is found 8 times in 10.",
            pairs=vessels // 2,
            factor=factor,
        )
    else:
        found = say(
            "With {vessels} vessels a difference of {factor:.1f} times the spread from vessel to "
            "vessel is found 8 times in 10.",
            vessels=vessels,
            factor=factor,
        )
    return found + say(" Smaller ones will mostly be missed.")


def _check_layout(vessels: int, arms: int, paired: bool) -> None:
    if not 2 <= arms <= MOST_ARMS:
        raise InputError("arms", say("2 to {most}", most=MOST_ARMS), arms)
    if paired and arms != 2:
        raise InputError("arms", say("2 where musts are split in pairs"), arms)
    if not FEWEST_VESSELS <= vessels <= MOST_VESSELS:
        raise InputError(
            "vessels",
            say(
                "{least} to {most}",
                least=FEWEST_VESSELS,
                most=MOST_VESSELS,
            ),
            vessels,
        )
    if vessels % arms:
        raise InputError(
            "vessels", say("a multiple of {arms}, as many for each arm", arms=arms), vessels
        )
