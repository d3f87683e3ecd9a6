"""Where does the pH go: the charge balance carried through the ferment, member by member."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mustwright import data
from mustwright.constants import ACETIC_G_MOL, NITROGEN_G_MOL, POTASSIUM_G_MOL, SUCCINIC_G_MOL
from mustwright.must.acidity.balance import Solution, solve_ph
from mustwright.must.acidity.course import AcidCourse, CourseAddition, Traits
from mustwright.must.acidity.draws import quantile
from mustwright.must.acidity.medium import co2_mol_kg, solvent_kg_l, sugar_mass_pct
from mustwright.must.acidity.members import (
    MustMembers,
)

Floats = NDArray[np.float64]
NITROGEN_MG_MOL = 1000 * NITROGEN_G_MOL
SUGAR_OF_TRAITS = 200.0  # g/L of sugar that the acids of the traits belong to (Harle2020)
POTASSIUM_REACHABLE = 0.8  # of what is there, at most, goes into cells (assumed)
NEAR_LOWEST = 0.05  # a trough is flat: this near to it counts as there [pH]
STEEP = 0.06  # pH between two knots above which the moments between are solved as well
CHECKED = 2000  # interpolated values that are solved again to measure the error
STRUCTURAL_FROM = 0.3  # sugar used by which the structural doubt is in full (assumed)


@dataclass(frozen=True)
class Path:
    """pH along a ferment.

    Parameters
    ----------
    sugar_used : ndarray
        Points, or members by points.
    ph : ndarray
        Members by points.
    interpolation_error : float
        Largest error seen among interpolated values that were solved again [-].
    """

    sugar_used: Floats
    ph: Floats
    interpolation_error: float = 0.0

    def trough(self, since: float = 0.0) -> Floats:
        """Lowest pH of each member from a part of the sugar on."""
        used = np.broadcast_to(self.sugar_used, self.ph.shape)
        return np.asarray(np.where(used >= since - 1e-9, self.ph, np.inf).min(axis=1))

    def trough_at(self) -> Floats:
        """Part of the sugar used when each member's pH first comes within 0.05 of its lowest."""
        used = np.broadcast_to(self.sugar_used, self.ph.shape)
        lowest = (self.ph <= self.ph.min(axis=1, keepdims=True) + NEAR_LOWEST).argmax(axis=1)
        return np.asarray(used[np.arange(lowest.size), lowest])

    def at(self, sugar_used: float) -> Floats:
        """pH of each member when this part of the sugar is gone."""
        if self.sugar_used.ndim == 1:
            i = int(np.clip(np.searchsorted(self.sugar_used, sugar_used), 1, self.ph.shape[1] - 1))
            x0, x1 = self.sugar_used[i - 1], self.sugar_used[i]
            w = np.clip((sugar_used - x0) / max(x1 - x0, 1e-12), 0.0, 1.0)
            return np.asarray((1 - w) * self.ph[:, i - 1] + w * self.ph[:, i])
        rows = zip(self.sugar_used, self.ph, strict=True)
        return np.array([np.interp(sugar_used, x, p) for x, p in rows])

    def quantiles(self, probability: float, weights: ArrayLike | None = None) -> Floats:
        """One quantile of pH at every point."""
        return np.array([quantile(column, probability, weights) for column in self.ph.T])


def ph_along(must: MustMembers, course: AcidCourse, traits: Traits, *, every: int = 1) -> Path:
    """Follow each member's pH along a course.

    Parameters
    ----------
    must : MustMembers
        As calibrated.
    course : AcidCourse
        Arrays of points, or of members by points; members as in `must`.
    traits : Traits
    every : int
        Solve at every n-th point, at each addition and wherever pH moves by more than 0.06, and
        draw straight lines between; about 2000 of the values in between are solved again to
        measure the error.

    Returns
    -------
    Path

    Notes
    -----
    At each point the pools are what the must held, plus what was added, less what was eaten, plus
    the acids yeast makes; CO2 stands at one atmosphere (Weiss1974) as soon as sugar is used. A
    structural doubt in pH grows in over the first 30 % of the sugar (assumed).
    """
    rows = state_at(must, course, traits, np.arange(course.points))
    if every <= 1:
        ph, error = solve_ph(rows).reshape(must.size, course.points), 0.0
    else:
        ph, error = _thinned(rows, must.size, _knots(course, every), _jumps(course))
    used = np.asarray(course.sugar_used, dtype=float)
    grown = np.clip(used / STRUCTURAL_FROM, 0.0, 1.0)
    return Path(used, ph + traits.structural_ph[:, None] * grown, error)


def _thinned(
    rows: Solution, members: int, knots: NDArray[np.int64], jumps: NDArray[np.bool_]
) -> tuple[Floats, float]:
    """pH from solving at the knots and wherever it moves fast; the rest by straight lines."""
    points = jumps.shape[1] + 1
    place = np.arange(members * points).reshape(members, points)
    at_knots = solve_ph(rows.take(place[:, knots].ravel())).reshape(members, knots.size)
    ph, fast = _between(at_knots, knots, jumps)
    ph[fast] = solve_ph(rows.take(place[fast]), ph[fast])
    left = ~fast
    left[:, knots] = False
    some = place[left][:: max(int(left.sum()) // CHECKED, 1)]
    if some.size == 0:
        return ph, 0.0
    lines = ph.ravel()[some]
    return ph, float(np.abs(solve_ph(rows.take(some), lines) - lines).max())


def state_at(
    must: MustMembers, course: AcidCourse, traits: Traits, points: NDArray[np.int64]
) -> Solution:
    """The solutions at some points of a course.

    Parameters
    ----------
    must : MustMembers
    course : AcidCourse
    traits : Traits
    points : ndarray of int
        Which points of the course.

    Returns
    -------
    Solution
        Members by points, laid out row by row.

    Raises
    ------
    KeyError
        If an addition names an acid that the must's chemistry does not have.
    """
    start = must.rested().rows
    chemistry, members, n = start.chemistry, must.size, points.size

    def at(values: ArrayLike) -> Floats:
        array = np.asarray(values, dtype=float)
        return np.broadcast_to(array[..., points], (members, n))

    ethanol, sugar, temperature = (
        at(course.ethanol_pct_vol),
        at(course.sugar_g_l),
        at(course.temperature_c),
    )
    solvent = solvent_kg_l(sugar, ethanol)
    pools = {
        a.id: np.repeat(start.totals[:, i, None], n, axis=1) * must.solvent_kg_l
        for i, a in enumerate(chemistry.acids)
    }
    sid = np.repeat(start.sid[:, None], n, axis=1) * must.solvent_kg_l
    potassium = _potassium(must, course, at)
    for addition in course.additions:
        given = at(addition.given)
        _pour(pools, addition, given)
        base = _spread(addition.base_meq_l) / 1000 * given
        sid += base - 2 * addition.sulfate_mmol_l / 1000 * given
    used = at(course.sugar_used)
    sid -= _eat(pools, course, traits, at, potassium)
    sid -= _make(pools, traits, np.maximum(must.sugar_g_l - sugar, 0.0) / SUGAR_OF_TRAITS)
    per_kg = {name: np.maximum(pool, 0.0) / solvent for name, pool in pools.items()}
    totals = np.stack([per_kg[a.id].ravel() for a in chemistry.acids], axis=1)
    gas = np.where(used > 0, co2_mol_kg(temperature), start.co2[:, None])
    strong = start.strong[:, None] * must.solvent_kg_l + 0 * sid
    return Solution(
        totals,
        (sid / solvent).ravel(),
        np.maximum(strong / solvent, 0.0).ravel(),
        temperature.ravel().copy(),
        ethanol.ravel().copy(),
        sugar_mass_pct(sugar).ravel(),
        gas.ravel(),
        np.repeat(start.lift, n),
        np.repeat(start.pk_per_ethanol, n),
        chemistry,
    )


def potassium_lack(
    must: MustMembers, course: AcidCourse, traits: Traits, points: NDArray[np.int64]
) -> Floats:
    """How much more potassium the cells would take up than they can reach.

    That much of a salt's potassium is eaten, and its base with it, before any is left over.

    Parameters
    ----------
    must : MustMembers
    course : AcidCourse
    traits : Traits
    points : ndarray of int
        Which points of the course.

    Returns
    -------
    ndarray
        Members by points, at least 0 [mol/L].

    Notes
    -----
    Cells reach at most 0.8 of the potassium there is (assumed).
    """

    def at(values: ArrayLike) -> Floats:
        array = np.asarray(values, dtype=float)
        return np.broadcast_to(array[..., points], (must.size, points.size))

    wanted = traits.potassium_mmol_g[:, None] / 1000 * at(course.biomass_g_l)
    return np.maximum(wanted - POTASSIUM_REACHABLE * _potassium(must, course, at), 0.0)


def _potassium(must: MustMembers, course: AcidCourse, at: Callable[[ArrayLike], Floats]) -> Floats:
    """The must's own and what was added by then, none eaten [mol/L]."""
    mg_l = must.potassium_mg_l[:, None] + 0 * at(course.sugar_used)
    for addition in course.additions:
        mg_l = mg_l + _spread(addition.potassium_mg_l) * at(addition.given)
    return mg_l / POTASSIUM_G_MOL / 1000


def _pour(pools: dict[str, Floats], addition: CourseAddition, given: Floats) -> None:
    pools["ammonium"] = pools["ammonium"] + addition.ammonium_mg_l / NITROGEN_MG_MOL * given
    pools["amino"] = pools["amino"] + addition.amino_mg_l / NITROGEN_MG_MOL * given
    pools["phosphoric"] = pools["phosphoric"] + addition.phosphate_mmol_l / 1000 * given
    for name, amount in addition.acids_mmol_l.items():
        pools[name] = pools[name] + _spread(amount) / 1000 * given


def _eat(
    pools: dict[str, Floats],
    course: AcidCourse,
    traits: Traits,
    at: Callable[[ArrayLike], Floats],
    potassium: Floats,
) -> Floats:
    """Take what yeast takes out of the pools; the fall of the strong-ion difference [mol/L]."""
    ammonium = np.minimum(at(course.ammonium_taken_mg_l) / NITROGEN_MG_MOL, pools["ammonium"])
    amino = np.minimum(at(course.amino_taken_mg_l) / NITROGEN_MG_MOL, pools["amino"])
    biomass = at(course.biomass_g_l)
    phosphorus = np.minimum(traits.phosphorus_mmol_g[:, None] / 1000 * biomass, pools["phosphoric"])
    metal = np.minimum(
        traits.potassium_mmol_g[:, None] / 1000 * biomass, POTASSIUM_REACHABLE * potassium
    )
    pools["ammonium"] = pools["ammonium"] - ammonium
    pools["amino"] = pools["amino"] - amino
    pools["phosphoric"] = pools["phosphoric"] - phosphorus
    more = (traits.protons_per_ammonium[:, None] - 1) * ammonium
    return np.asarray(metal + more + traits.protons_per_amino[:, None] * amino)


def _make(pools: dict[str, Floats], traits: Traits, used: Floats) -> Floats:
    """Put in the acids yeast makes: succinic as sugar goes, acetic and keto acids early.

    `used` is the sugar used over that for which the traits are stated.
    Keto acids are strong enough to count as strong ions: their sum is given back [mol/L].
    """
    early = 1 - np.exp(-used / data.load("acids")["ferment"]["acetic_by_sugar_used"])
    pools["succinic"] = pools["succinic"] + traits.succinic_g_l[:, None] / SUCCINIC_G_MOL * used
    pools["acetic"] = pools["acetic"] + traits.acetic_g_l[:, None] / ACETIC_G_MOL * early
    return np.asarray(traits.keto_meq_l[:, None] / 1000 * early)


def _spread(value: float | Floats) -> Floats:
    array = np.asarray(value, dtype=float)
    return array[:, None] if array.ndim == 1 else array


def _knots(course: AcidCourse, every: int) -> NDArray[np.int64]:
    """Points to solve at: every n-th, the ends, both sides of additions all members share."""
    last = course.points - 1
    wanted = {0, last, *range(0, last + 1, max(every, 1))}
    for addition in course.additions:
        if np.ndim(addition.given) == 1:
            for jump in np.flatnonzero(np.diff(addition.given) > 0):
                wanted |= {int(jump), int(jump) + 1}
    return np.array(sorted(wanted), dtype=np.int64)


def _jumps(course: AcidCourse) -> NDArray[np.bool_]:
    """Where something goes in between two points, by member (one row where all share it)."""
    found = np.zeros((1, course.points - 1), dtype=bool)
    for addition in course.additions:
        if np.ndim(addition.given) == 2:
            found = found | (np.diff(addition.given, axis=1) > 0)
    return found


def _between(
    at_knots: Floats, knots: NDArray[np.int64], jumps: NDArray[np.bool_]
) -> tuple[Floats, NDArray[np.bool_]]:
    """Straight lines between knots, and where they are too steep to be trusted."""
    full = np.arange(jumps.shape[1] + 1)
    place = np.clip(np.searchsorted(knots, full, side="right") - 1, 0, knots.size - 2)
    left, right = knots[place], knots[place + 1]
    weight = (full - left) / np.maximum(right - left, 1)
    ph = at_knots[:, place] * (1 - weight) + at_knots[:, place + 1] * weight
    steep = np.abs(np.diff(at_knots, axis=1)) > STEEP
    for gap in np.flatnonzero(jumps.any(axis=0)):
        steep[:, place[gap]] |= jumps[:, gap]
    fast = steep[:, place] & (full != left)[None, :] & (full != right)[None, :]
    return np.asarray(ph), np.asarray(fast)


def pick_traits(traits: Traits, rows: NDArray[np.int64]) -> Traits:
    """The traits of some of the members."""
    return Traits(**{name: getattr(traits, name)[rows] for name in traits.__dataclass_fields__})
