"""How much of a salt, and when: the smallest dose that keeps a floor with the chance wanted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mustwright.must.acidity.balance import Solution, base_to_ph, sid_for_ph
from mustwright.must.acidity.course import AcidCourse, Traits
from mustwright.must.acidity.draws import chance, quantile
from mustwright.must.acidity.medium import solvent_kg_l
from mustwright.must.acidity.members import TARTARIC_MEQ_G, MustMembers
from mustwright.must.acidity.path import (
    POTASSIUM_REACHABLE,
    STRUCTURAL_FROM,
    Path,
    ph_along,
    potassium_lack,
    state_at,
)
from mustwright.must.acidity.salts import Salt, acid_meq_g
from mustwright.texts import say

Floats = NDArray[np.float64]
OUT_OF_REACH = 99.0  # g/L standing for "no dose at these moments keeps it"
REFINED = 12
WEAK = 0.05  # net moles of base per mole below which a salt cannot do it


@dataclass(frozen=True)
class Schedule:
    """When a dose goes in: parts of it at parts of the sugar used.

    Parameters
    ----------
    id, words : str
        ``before_yeast``, ``after_start`` or ``with_feeds``; and as the maker reads it.
    moments : tuple of (float, float)
        Part of the sugar used, part of the dose; the parts add up to 1.
    """

    id: str
    words: str
    moments: tuple[tuple[float, float], ...]

    def given(self, sugar_used: Floats) -> Floats:
        """Part of the dose that is in at each point."""
        used = np.asarray(sugar_used, dtype=float)
        return np.asarray(sum(part * (used >= at - 1e-9) for at, part in self.moments), dtype=float)


@dataclass(frozen=True)
class Trial:
    """What one salt on one schedule would do.

    Parameters
    ----------
    g_l : float
        Dose, never above the most allowed [g/L].
    wanted_g_l : float
        Smallest dose that would keep the floor with the chance wanted; `OUT_OF_REACH` for none.
    chance_kept : float
        That pH stays at or above the floor from the first part of the dose on, by the path itself.
    chance_dip : float
        That it is under the floor at some moment before.
    path : Path
        With the dose in.
    highest : Floats
        Highest pH of each member from the first part of the dose on.
    each_g_l : Floats
        Dose each member would need [g/L].
    """

    salt: Salt
    schedule: Schedule
    g_l: float
    wanted_g_l: float
    chance_kept: float
    chance_dip: float
    path: Path
    highest: Floats
    each_g_l: Floats


def before_yeast() -> Schedule:
    """All of it before pitching."""
    return Schedule("before_yeast", say("all of it before the yeast"), ((0.0, 1.0),))


def after_start(at: float) -> Schedule:
    """All of it once this part of the sugar is gone."""
    return Schedule(
        "after_start", say("once about {at:.0%} of the sugar is gone", at=at), ((at, 1.0),)
    )


def with_feeds(feeds: Sequence[tuple[float, float]]) -> Schedule | None:
    """Parts alongside the feeds, by the acid each leaves; None where no feed leaves any.

    Parameters
    ----------
    feeds : sequence of (float, float)
        Part of the sugar used, acid load [meq/L].
    """
    loads = [(at, load) for at, load in feeds if load > 0.05]
    total = sum(load for _, load in loads)
    if total <= 0:
        return None
    moments = tuple((at, load / total) for at, load in loads)
    return Schedule("with_feeds", say("in parts along with the feeds that bring ammonium"), moments)


def needed_g_l(
    must: MustMembers,
    course: AcidCourse,
    traits: Traits,
    salt: Salt,
    floor: float,
    given: Floats,
) -> Floats:
    """Dose of a base each member needs to keep its pH above a floor from then on.

    Parameters
    ----------
    must : MustMembers
    course : AcidCourse
        Without the dose.
    traits : Traits
    salt : Salt
        A base.
    floor : float
        Lowest pH allowed; inside, it is held within pH 1 to 9 [-].
    given : ndarray
        Part of the dose that is in at each point of the course, 0 to 1 [-]; points, or members
        by points.

    Returns
    -------
    ndarray
        Dose of each member [g/L]; `OUT_OF_REACH` where none keeps the floor.

    Notes
    -----
    The base missing at each moment is the strong-ion difference the floor needs, less the one
    that is there: a closed form. The dose must cover the worst moment with the part of it that
    is in by then. Where yeast takes up all the potassium it can reach, it takes up that of the
    salt too, and a base with it: ``x = min(need / (b - 0.8 k), (need + lack) / b)`` for ``b``
    moles of base and ``k`` of potassium per mole (the 0.8 is assumed). Moments before the first
    part do not count; a dip there is reported separately.
    """
    points = np.arange(course.points)
    rows = state_at(must, course, traits, points)
    used = np.broadcast_to(course.sugar_used, (must.size, points.size))
    grown = np.clip(used / STRUCTURAL_FROM, 0.0, 1.0)
    target = (floor - traits.structural_ph[:, None] * grown).ravel()
    target = np.clip(target, 1.0, 9.0)
    per_kg, net = base_to_ph(rows, target), _net(rows, salt, target)
    solvent = np.asarray(_solvent(rows, course, points, must))
    lack = potassium_lack(must, course, traits, points).ravel()
    mol = _mol_for(per_kg * solvent, net, lack, POTASSIUM_REACHABLE * salt.potassium_mol)
    grams = np.where(mol < OUT_OF_REACH, mol * salt.molar_mass, OUT_OF_REACH).reshape(used.shape)
    given = np.broadcast_to(given, used.shape)
    worst = np.where((grams > 0) & (given > 0), grams / np.where(given > 0, given, 1.0), 0.0)
    return np.asarray(np.minimum(np.max(worst, axis=1), OUT_OF_REACH))


def _mol_for(need: Floats, net: Floats, lack: Floats, eaten: float) -> Floats:
    """Moles per litre that leave the base needed; `OUT_OF_REACH` where a salt cannot do it."""
    while_lacking = np.where(net - eaten > WEAK, need / np.maximum(net - eaten, WEAK), np.inf)
    met = np.where(net > WEAK, (need + lack) / np.maximum(net, WEAK), np.inf)
    mol = np.minimum(np.minimum(while_lacking, met), OUT_OF_REACH)
    return np.asarray(np.where(need > 0, mol, 0.0))


def _solvent(
    rows: Solution, course: AcidCourse, points: NDArray[np.int64], must: MustMembers
) -> Floats:
    shape = (must.size, points.size)
    sugar = np.broadcast_to(np.asarray(course.sugar_g_l)[..., points], shape)
    return np.asarray(solvent_kg_l(sugar.ravel(), rows.ethanol_pct_vol))


def _net(rows: Solution, salt: Salt, ph: Floats) -> Floats:
    """Moles of base left over at a pH per mole of salt, its own acid counted."""
    if not salt.acid:
        return np.full(rows.rows, salt.base)
    step = 1e-3
    more = sid_for_ph(rows.with_acid(salt.acid, step), ph) - sid_for_ph(rows, ph)
    return np.asarray(salt.base - more / step)


def try_dose(
    must: MustMembers,
    course: AcidCourse,
    traits: Traits,
    salt: Salt,
    floor: float,
    schedule: Schedule,
    *,
    wanted: float = 0.9,
    most_g_l: float | None = None,
    step_g_l: float = 0.0,
) -> Trial:
    """Find the smallest dose that keeps a floor with the chance wanted, and what comes of it.

    Parameters
    ----------
    must : MustMembers
    course : AcidCourse
        Without the dose.
    traits : Traits
    salt : Salt
        A base.
    floor : float
        Lowest pH allowed [-].
    schedule : Schedule
        When the dose goes in.
    wanted : float
        Chance of keeping the floor, 0 to 1 [-].
    most_g_l : float or None
        Ceiling of the dose, at least 0 [g/L]; the salt's planning maximum unless given.
    step_g_l : float
        What the scale can show, per litre of must [g/L]; the dose is rounded up to it, or down
        at the ceiling. 0 does not round.

    Returns
    -------
    Trial

    Notes
    -----
    The dose is the `wanted` quantile of `needed_g_l`, raised by 3 % at a time (at most 12 times)
    until the path itself keeps the floor.
    """
    most = salt.max_g_l if most_g_l is None else most_g_l
    given = schedule.given(course.sugar_used)
    each = needed_g_l(must, course, traits, salt, floor, given)
    first = min(at for at, _ in schedule.moments)
    smallest = quantile(each, wanted)
    for _ in range(REFINED):
        dose = _rounded(min(smallest, most), most, step_g_l)
        path = with_dose(must, course, traits, salt, dose, given)
        kept = chance(path.trough(first) >= floor - 1e-3)
        if kept >= wanted or smallest >= min(most, OUT_OF_REACH) or smallest <= 0:
            break
        smallest = min(smallest * 1.03, OUT_OF_REACH)  # a salt's own acid bends the closed form
    used = np.broadcast_to(path.sugar_used, path.ph.shape)
    highest = np.where(used >= first - 1e-9, path.ph, -np.inf).max(axis=1)
    before = np.where(used < first - 1e-9, path.ph, np.inf).min(axis=1)
    dip = chance(before < floor)
    return Trial(salt, schedule, dose, smallest, kept, dip, path, np.asarray(highest), each)


def with_dose(
    must: MustMembers,
    course: AcidCourse,
    traits: Traits,
    salt: Salt,
    g_l: float,
    given: Floats,
) -> Path:
    """Follow the pH along the ferment with a dose in it.

    Parameters
    ----------
    must : MustMembers
    course : AcidCourse
        Without the dose.
    traits : Traits
    salt : Salt
    g_l : float
        The whole dose, at least 0 [g/L].
    given : ndarray
        Part of it that is in at each point, 0 to 1 [-].

    Returns
    -------
    Path
    """
    addition = salt.addition(g_l, given)
    return ph_along(must, replace(course, additions=(*course.additions, addition)), traits)


def _rounded(dose: float, most: float, step: float) -> float:
    if step <= 0:
        return max(dose, 0.0)
    up = float(np.ceil(dose / step - 1e-9) * step)
    return max(up if up <= most + 1e-12 else float(np.floor(most / step + 1e-9) * step), 0.0)


def acid_for_ta(salt: Salt, now_g_l: float, wanted_g_l: float) -> float:
    """Dose of an acid or base that brings titratable acid to an amount.

    Parameters
    ----------
    salt : Salt
        An acid to raise it, a carbonate to lower it.
    now_g_l, wanted_g_l : float
        Titratable acid as tartaric, at least 0 [g/L].

    Returns
    -------
    float
        Dose, at least 0 [g/L]; 0 where this salt would move it the wrong way.

    Notes
    -----
    Neutralisation alone: no bitartrate falls out. Where it does, as little as half the carbonate
    is enough.

    Examples
    --------
    >>> from mustwright.must.acidity.salts import salt_called
    >>> round(acid_for_ta(salt_called("caco3"), 7.0, 6.0), 3)
    0.667
    """
    meq = (wanted_g_l - now_g_l) * TARTARIC_MEQ_G
    if salt.is_acid:
        return max(meq / acid_meq_g(salt), 0.0)
    return max(-meq / salt.base_meq_g, 0.0)
