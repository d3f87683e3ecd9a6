"""From a kinetic run to a course of acid: member by member, nitrogen by kind, feed by feed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mustwright.constants import ETHANOL_G_L_PER_PCT_VOL, NITROGEN_G_MOL
from mustwright.kinetics.feeds import NitrogenPulse
from mustwright.kinetics.simulate import Run
from mustwright.must.acidity.balance import base_to_ph
from mustwright.must.acidity.course import AcidCourse, CourseAddition
from mustwright.must.acidity.members import MustMembers

Floats = NDArray[np.float64]
HIGHEST_PCT = 20.0  # the medium's figures end there
GAS_FROM_G_L = 1.5  # sugar that makes half of the CO2 the must can hold; none counts before that
LATE_H = 1e-6


@dataclass(frozen=True)
class Trajectory:
    """What some members of a run did at some of its times, in float64.

    Parameters
    ----------
    times_h : ndarray
        [h].
    ammonium_start_mg_l, amino_start_mg_l : ndarray
        The must's own nitrogen, by member [mg N/L].
    fed : tuple of ndarray
        For each feed, members by times: 1 once it is in, 0 before, 0 where it never came.
    """

    times_h: Floats
    sugar_start_g_l: Floats
    sugar_g_l: Floats
    ethanol_g_l: Floats
    temperature_c: Floats
    ammonium_start_mg_l: Floats
    amino_start_mg_l: Floats
    ammonium_mg_l: Floats
    amino_mg_l: Floats
    biomass_g_l: Floats
    fed: tuple[Floats, ...]


def trajectory(run: Run, rows: NDArray[np.int64], times_h: Floats) -> Trajectory:
    """Some members (rows, in this order) at times the run has kept."""
    from mustwright.kinetics.ensemble import KEPT, START

    at = np.searchsorted(run.times_h, times_h - LATE_H)

    def kept(name: str) -> Floats:
        return np.asarray(run.kept[KEPT.index(name)][np.ix_(at, rows)].T, dtype=float)

    def start(name: str) -> Floats:
        return np.asarray(run.members.start[START.index(name)][rows], dtype=float)

    fed = tuple(
        np.where((h[:, None] >= 0) & (times_h[None, :] >= h[:, None] - LATE_H), 1.0, 0.0)
        for h in run.fed_at_h[:, rows]
    )
    return Trajectory(
        times_h,
        start("glucose") + start("fructose"),
        kept("glucose") + kept("fructose"),
        kept("ethanol"),
        kept("temperature"),
        1000 * start("ammonium_n"),
        1000 * start("amino_n"),
        1000 * kept("ammonium_n"),
        1000 * kept("amino_n"),
        np.maximum(kept("total") - start("total")[:, None], 0.0),
        fed,
    )


def eaten_mg_l(done: Trajectory, feeds: Sequence[NitrogenPulse]) -> tuple[Floats, Floats]:
    """Ammonium and amino nitrogen eaten since the pitch: own and fed so far, less what is there."""
    ammonium = np.repeat(done.ammonium_start_mg_l[:, None], done.times_h.size, axis=1)
    amino = np.repeat(done.amino_start_mg_l[:, None], done.times_h.size, axis=1)
    for feed, given in zip(feeds, done.fed, strict=True):
        ammonium += feed.ammonium_n_mg_l * given
        amino += feed.amino_n_mg_l * given
    return np.maximum(ammonium - done.ammonium_mg_l, 0.0), np.maximum(amino - done.amino_mg_l, 0.0)


def course_from(
    done: Trajectory,
    feeds: Sequence[NitrogenPulse],
    additions: Sequence[CourseAddition],
    sugar_g_l: float,
) -> AcidCourse:
    """The course of acid of a run.

    Parameters
    ----------
    done : Trajectory
    feeds, additions : sequences
        The same feeds, as the run knew them and as what they bring; an addition's own `given`
        is ignored.
    sugar_g_l : float
        All that is dissolved in the must before the yeast [g/L].

    Notes
    -----
    What is dissolved falls by the sugar fermented; the few grams of glycerol are left out, as in
    the usual course. Sugar counts as used from 1.5 g/L on, when there is enough CO2 to matter.
    """
    gone = np.maximum(done.sugar_start_g_l[:, None] - done.sugar_g_l, 0.0)
    used = gone / np.maximum(done.sugar_start_g_l, 1.0)[:, None]
    ammonium, amino = eaten_mg_l(done, feeds)
    return AcidCourse(
        np.where(gone < GAS_FROM_G_L, 0.0, np.clip(used, 0.0, 1.0)),
        np.maximum(sugar_g_l - gone, 0.0),
        np.clip(done.ethanol_g_l / ETHANOL_G_L_PER_PCT_VOL, 0.0, HIGHEST_PCT),
        np.clip(done.temperature_c, 0.0, 45.0),
        ammonium,
        amino,
        done.biomass_g_l,
        tuple(replace(a, given=g) for a, g in zip(additions, done.fed, strict=True)),
    )


def with_nitrogen(must: MustMembers, ammonium_mg_l: Floats, amino_mg_l: Floats) -> MustMembers:
    """The same musts at the same pH, with the nitrogen their kinetic twins start with."""
    ph, totals = must.ph(), must.rows.totals.copy()
    for kind, amount in (("ammonium", ammonium_mg_l), ("amino", amino_mg_l)):
        per_kg = amount / 1000 / NITROGEN_G_MOL / must.solvent_kg_l
        totals[:, must.rows.chemistry.index(kind)] = per_kg
    rows = replace(must.rows, totals=totals)
    return replace(must, rows=rows.with_base(base_to_ph(rows, ph)))
