"""Which one change would have kept it going: the same members run again with one thing put right.

Members stay the same from run to run (common random numbers), so that a difference is the change's
and not chance's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mustwright.constants import ETHANOL_G_L_PER_PCT_VOL
from mustwright.kinetics import members as members_
from mustwright.kinetics import simulate
from mustwright.kinetics.conditions import Conditions, Profile
from mustwright.kinetics.ends import how_it_ends
from mustwright.kinetics.forecast import Drawn
from mustwright.kinetics.inputs import MustAtPitch, NitrogenPulse, PulseTrigger
from mustwright.kinetics.parameters import EFFECT, TRAITS, Population

Floats = NDArray[np.float64]

STEP_H = 1.0
FREED_SHARE = (
    0.5  # of the sugar that was left: less than this still there counts as freed (assumed)
)
HELD_G_L = 5.0  # of sugar; under it nothing is held up
AMPLE_PITCH_G_L = 0.5  # of dry yeast, twice the usual 0.25 g/L (common practice, no source)
EASY_PH = 3.6
HARDY_PCT_VOL = 22.0
HARMLESS_MMOL_L = 1e4  # hydrogen ions that halve uptake, where acid is not to count


@dataclass(frozen=True)
class Right:
    """What would be right for this must and yeast.

    Parameters
    ----------
    nitrogen_mg_l : float
        Assimilable nitrogen wanted in all [mg N/L].
    low_c, high_c : float
        Where this yeast works well [°C].
    """

    nitrogen_mg_l: float
    low_c: float
    high_c: float


@dataclass(frozen=True)
class Freed:
    """Share of members that one change would have kept going.

    Parameters
    ----------
    at_h : float
        Moment that is looked at [h after pitch].
    held_up : float
        Share of members with 5 g/L of sugar or more left then; 0 to 1.
    share : dict of str to float
        Of those, by what is put right: ``nitrogen``, ``temperature``, ``alcohol``,
        ``too_little_yeast``, ``ph_potassium`` (pH alone); 0 to 1.
    """

    at_h: float
    held_up: float
    share: dict[str, float]


@dataclass(frozen=True)
class _Case:
    must: MustAtPitch
    feeds: tuple[NitrogenPulse, ...]
    conditions: Conditions
    z: Floats
    hardy: bool = False


def freed(
    must: MustAtPitch,
    feeds: Sequence[NitrogenPulse],
    conditions: Conditions,
    z: Floats,
    who: Population,
    right: Right,
    at_h: float,
) -> Freed:
    """Run members again with one thing put right from the pitch on, for each of five things.

    Parameters
    ----------
    must, feeds, conditions, who
        As they were forecast, the temperatures read among the conditions.
    z : ndarray
        Standard normal numbers of members that explain the readings, effects by members [-].
    right : Right
    at_h : float
        Moment to look at, 1 to 4000 [h].

    Returns
    -------
    Freed

    Notes
    -----
    A member counts as freed when at `at_h` it holds less than half of the sugar it holds as things
    were (assumed). Besides the condition itself, the effect of the member that goes with it is
    brought back to that of a usual one where it was worse (a short lag, no lack of viable cells, a
    usual bearing of alcohol): what the readings say of a member must not be left standing in its
    way. Heat lowers the alcohol that yeast bears: what the right temperature alone would have freed
    does not count for alcohol.
    """
    case = _Case(must, tuple(feeds), conditions, z)
    as_it_was = _sugar(case, who, at_h)
    held = as_it_was >= HELD_G_L
    enough = np.maximum(FREED_SHARE * as_it_was, simulate.DRY_G_L)
    free = {
        name: held & (_sugar(change(case, right), who, at_h) < enough)
        for name, change in CHANGES.items()
    }
    free["alcohol"] &= ~free["temperature"]
    count = max(int(held.sum()), 1)
    share = {name: float(members.sum() / count) for name, members in free.items()}
    return Freed(at_h, float(held.mean()), share)


def _sugar(case: _Case, who: Population, at_h: float) -> Floats:
    """Sugar each member holds then [g/L]."""
    built = members_.build(case.must, case.conditions, case.z, who)
    if case.hardy:
        end = ETHANOL_G_L_PER_PCT_VOL * HARDY_PCT_VOL
        row = TRAITS.index("ethanol_end")
        built.traits[row] = np.maximum(built.traits[row], end)
    short = replace(case.conditions, horizon_h=24.0)
    run = simulate.run(built, short, case.feeds, np.array([at_h]), case.must.gravity, STEP_H)
    return np.asarray(run.sugar_g_l[0], float)


def _usual(z: Floats, **worse: float) -> Floats:
    """Effects that lie on the worse side (sign) brought back to the middle."""
    new = z.copy()
    for name, side in worse.items():
        row = new[EFFECT[name]]
        new[EFFECT[name]] = np.where(row * side > 0, 0.0, row)
    return new


def _nitrogen(case: _Case, right: Right) -> _Case:
    """All that is wanted there when work begins, what was fed early among it."""
    must = case.must.ammonium_n_mg_l + case.must.amino_n_mg_l
    fed = sum(f.ammonium_n_mg_l + f.amino_n_mg_l for f in case.feeds)
    add = min(max(right.nitrogen_mg_l - must, fed, 0.0), 1000.0)
    feed = NitrogenPulse(PulseTrigger(end_of_lag=True), 0.5 * add, 0.5 * add)
    return replace(case, feeds=(feed,), z=_usual(case.z, yan_error=-1))


def _temperature(case: _Case, right: Right) -> _Case:
    """Kept inside the yeast's range wherever it was outside."""
    c = case.conditions
    low, high = min(right.low_c + 1, right.high_c), right.high_c
    if c.vessel is not None:
        middle = min(max(20.0, low), high)
        calm = replace(c, vessel=None, temperature_c=middle)
    else:
        plan = c.temperature_c
        steps = plan if isinstance(plan, tuple) else ((0.0, plan),)
        calm = replace(c, temperature_c=_inside(steps, low, high))
    calm = replace(calm, measured_c=_inside(c.measured_c, low, high))
    return replace(case, conditions=calm)


def _inside(profile: Profile, low: float, high: float) -> Profile:
    return tuple((t, min(max(value, low), high)) for t, value in profile)


def _alcohol(case: _Case, right: Right) -> _Case:  # noqa: ARG001 (one form for all changes)
    """A yeast that bears any alcohol of a mead, and minds it no more than usual."""
    z = _usual(case.z, ethanol_half=-1, tolerance_factor=-1, death_rate=1)
    return replace(case, z=z, hardy=True)


def _too_little_yeast(case: _Case, right: Right) -> _Case:  # noqa: ARG001
    """An ample pitch, rehydrated, that starts as usual."""
    ample = replace(
        case.conditions,
        pitch_g_l=max(case.conditions.pitch_g_l, AMPLE_PITCH_G_L),
        rehydrated=True,
    )
    return replace(case, conditions=ample, z=_usual(case.z, pitch_error=-1, lag=1))


def _ph(case: _Case, right: Right) -> _Case:  # noqa: ARG001
    """A pH that does not hinder."""
    must = replace(case.must, ph=max(case.must.ph, EASY_PH))
    return replace(case, must=must, z=_usual(case.z, ph_half=1))


def odds_by_acid(drawn: Drawn) -> float:
    """By how much acid and lack of potassium raise the odds of sticking, in the ensemble itself.

    Parameters
    ----------
    drawn : Drawn
        The same members are run again with acid and potassium that hinder nobody.

    Returns
    -------
    float
        Odds as they are over odds without, 1 or more; half a member is added to either side, so
        that it is finite [-].
    """
    built = members_.build(drawn.must, drawn.conditions, drawn.z, drawn.who)
    built.traits[TRAITS.index("acid_half")] = HARMLESS_MMOL_L
    built.traits[TRAITS.index("potassium_loss")] = 0.0
    end = float(drawn.run.times_h[-1])
    times = np.array([end - 24.0, end])
    run = simulate.run(built, drawn.conditions, drawn.run.feeds, times, drawn.must.gravity, STEP_H)
    count = drawn.z.shape[1]

    def sticking(one: simulate.Run) -> float:
        return float(how_it_ends(one, drawn.must, drawn.conditions).sticks.sum())

    as_it_is = sticking(drawn.run)
    without = sticking(run)

    def odds(share: float) -> float:
        return (share + 0.5) / (float(count) - share + 0.5)

    return max(odds(as_it_is) / odds(without), 1.0)


CHANGES = {
    "nitrogen": _nitrogen,
    "temperature": _temperature,
    "alcohol": _alcohol,
    "too_little_yeast": _too_little_yeast,
    "ph_potassium": _ph,
}
