"""What does a ferment do to the acid: what was eaten, made and fed by then.

An `AcidCourse` takes plain arrays, so a kinetic ensemble can fill it; without one, `usual_course`
fills it from the sugar used alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mustwright import data
from mustwright.constants import (
    AMMONIUM_SULFATE_G_MOL,
    DAP_G_MOL,
    ETHANOL_G_L_PER_PCT_VOL,
    ETHANOL_YIELD_G_G,
    NITROGEN_G_MOL,
)

Floats = NDArray[np.float64]
# A trough is flat: with these the lowest pH is within 0.01 of that along three times as many.
POINTS = np.array([0, 0.04, 0.09, 0.2, 0.25, 0.3, 0.36, 0.45, 0.6, 0.8, 1.0])
# What goes in with the yeast comes this much of the sugar after it, so that a course begins with
# the must itself.
JUST_IN = 1e-6


@dataclass(frozen=True)
class CourseAddition:
    """Something put into the must: a feed, a salt, an acid. Amounts per litre of must.

    Parameters
    ----------
    name : str
    given : ndarray
        Part of it that is in by then, 0 to 1; points, or members by points.
    ammonium_mg_l, amino_mg_l : float
        Nitrogen by kind [mg N/L].
    phosphate_mmol_l, sulfate_mmol_l : float
        That came with the ammonium [mmol/L].
    base_meq_l : float
        Strong base: metal ions that came with carbonate or with the anion of an acid [meq/L].
    acids_mmol_l : mapping of str to float
        Organic acids, all forms [mmol/L].
    potassium_mg_l : float or ndarray
        [mg/L].
    """

    name: str
    given: Floats
    ammonium_mg_l: float = 0.0
    amino_mg_l: float = 0.0
    phosphate_mmol_l: float = 0.0
    sulfate_mmol_l: float = 0.0
    base_meq_l: float | Floats = 0.0
    acids_mmol_l: Mapping[str, float | Floats] = field(default_factory=dict)
    potassium_mg_l: float | Floats = 0.0

    @property
    def acid_load_meq_l(self) -> float:
        """Acid that comes of its nitrogen once eaten, near pH 3.5 [meq/L].

        One proton per ammonium; phosphate from the diammonium salt takes one up as it enters;
        amino nitrogen counts as none.
        """
        return self.ammonium_mg_l / NITROGEN_G_MOL - self.phosphate_mmol_l


def nutrient_addition(
    name: str,
    given: ArrayLike,
    *,
    ammonium_mg_l: float = 0.0,
    amino_mg_l: float = 0.0,
    ammonium_phosphate_g_l: float = 0.0,
    ammonium_sulfate_g_l: float = 0.0,
    potassium_mg_l: float = 0.0,
) -> CourseAddition:
    """A feed, described by its nitrogen and by the salts its ammonium came as.

    Parameters
    ----------
    name : str
    given : array_like
        Part of it that is in by then, 0 to 1 [-]; points, or members by points.
    ammonium_mg_l, amino_mg_l : float
        Nitrogen by kind, at least 0 [mg N/L].
    ammonium_phosphate_g_l : float
        Diammonium phosphate, at least 0 [g/L].
    ammonium_sulfate_g_l : float
        At least 0 [g/L].
    potassium_mg_l : float
        At least 0 [mg/L].

    Returns
    -------
    CourseAddition

    Examples
    --------
    200 mg N/L, all as diammonium phosphate, leaves 7.1 meq/L of acid behind:

    >>> dap = 0.200 * 132.056 / (2 * 14.0067)
    >>> feed = nutrient_addition("DAP", [1.0], ammonium_mg_l=200, ammonium_phosphate_g_l=dap)
    >>> round(feed.acid_load_meq_l, 1)
    7.1
    """
    return CourseAddition(
        name,
        np.asarray(given, dtype=float),
        ammonium_mg_l,
        amino_mg_l,
        1000 * ammonium_phosphate_g_l / DAP_G_MOL,
        1000 * ammonium_sulfate_g_l / AMMONIUM_SULFATE_G_MOL,
        potassium_mg_l=potassium_mg_l,
    )


@dataclass(frozen=True)
class AcidCourse:
    """A ferment's course; every array points or members by points, cumulative from the pitch.

    Parameters
    ----------
    sugar_used : ndarray
        Part of the fermentable sugar that is gone, 0 to 1, rising.
    sugar_g_l : ndarray
        All still dissolved besides alcohol [g/L].
    ethanol_pct_vol : ndarray
        0 to 20 [% vol].
    temperature_c : ndarray
        0 to 45 [°C].
    ammonium_taken_mg_l, amino_taken_mg_l : ndarray
        Nitrogen eaten by kind, the must's own and the fed together [mg N/L].
    biomass_g_l : ndarray
        Dry cells grown since the pitch [g/L].
    additions : tuple of CourseAddition
    """

    sugar_used: Floats
    sugar_g_l: Floats
    ethanol_pct_vol: Floats
    temperature_c: Floats
    ammonium_taken_mg_l: Floats
    amino_taken_mg_l: Floats
    biomass_g_l: Floats
    additions: tuple[CourseAddition, ...] = ()

    @property
    def points(self) -> int:
        """How many moments."""
        return int(self.sugar_used.shape[-1])

    def part(self, rows: NDArray[np.int64], points: NDArray[np.int64]) -> AcidCourse:
        """The course of some members at some of its points."""

        def along(values: Floats) -> Floats:
            array = np.asarray(values, dtype=float)[..., points]
            return array if array.ndim == 1 else array[rows]

        def amount(value: float | Floats) -> float | Floats:
            return value if np.ndim(value) == 0 else np.asarray(value)[rows]

        additions = tuple(
            replace(
                one,
                given=along(one.given),
                base_meq_l=amount(one.base_meq_l),
                acids_mmol_l={name: amount(v) for name, v in one.acids_mmol_l.items()},
                potassium_mg_l=amount(one.potassium_mg_l),
            )
            for one in self.additions
        )
        return AcidCourse(
            along(self.sugar_used),
            along(self.sugar_g_l),
            along(self.ethanol_pct_vol),
            along(self.temperature_c),
            along(self.ammonium_taken_mg_l),
            along(self.amino_taken_mg_l),
            along(self.biomass_g_l),
            additions,
        )


@dataclass(frozen=True)
class Traits:
    """What differs from yeast to yeast, and from this model to the truth; one value per member."""

    protons_per_ammonium: Floats
    protons_per_amino: Floats
    nitrogen_share: Floats
    potassium_mmol_g: Floats
    phosphorus_mmol_g: Floats
    succinic_g_l: Floats
    acetic_g_l: Floats
    keto_meq_l: Floats
    ammonium_width: Floats
    amino_width: Floats
    structural_ph: Floats


def draw_traits(members: int, seed: int) -> Traits:
    """Traits from their published or assumed spreads."""
    f = data.load("acids")["ferment"]
    rng = np.random.default_rng(seed + 104729)

    def around(middle: float, sd: float, least: float) -> Floats:
        return np.asarray(np.maximum(middle + sd * rng.standard_normal(members), least))

    def times(middle: float) -> Floats:
        spread = f["uptake_relative_sd"]
        return np.asarray(middle * np.exp(spread * rng.standard_normal(members)))

    return Traits(
        around(f["protons_per_ammonium"], f["protons_per_ammonium_sd"], 0.7),
        around(f["protons_per_amino"], f["protons_per_amino_sd"], -0.3),
        around(f["nitrogen_pct_of_cells"], f["nitrogen_pct_sd"], 3.0) / 100,
        times(f["potassium_mmol_g"]),
        times(f["phosphorus_mmol_g"]),
        around(f["succinic_g_l"], f["succinic_sd"], 0.1),
        around(f["acetic_g_l"], f["acetic_sd"], 0.05),
        around(f["keto_meq_l"], f["keto_sd"], 0.0),
        np.asarray(rng.uniform(0.06, 0.15, members)),
        np.asarray(rng.uniform(0.10, 0.25, members)),
        around(0.0, f["structural_ph_sd"], -9.0),
    )


def usual_course(
    traits: Traits,
    *,
    sugar_g_l: float,
    fermentable_g_l: float,
    temperature_c: float,
    ammonium_mg_l: Floats | float,
    amino_mg_l: Floats | float,
    additions: Sequence[tuple[float, CourseAddition]] = (),
    points: Floats = POINTS,
) -> AcidCourse:
    """A course from the sugar used alone, where there is no kinetic run to take it from.

    Parameters
    ----------
    traits : Traits
    sugar_g_l, fermentable_g_l : float
        Everything dissolved, and the hexose that can ferment, before yeast; at least 0 [g/L].
    temperature_c : float
        0 to 45 [°C].
    ammonium_mg_l, amino_mg_l : float or ndarray
        The must's own nitrogen, at least 0 [mg N/L].
    additions : sequence of (float, CourseAddition)
        When each goes in, as part of the sugar used, 0 to 1 [-]; its own `given` is ignored.
    points : ndarray
        Parts of the sugar used to work at, 0 to 1, rising [-]; moments around each addition are
        put in as well.

    Returns
    -------
    AcidCourse

    Notes
    -----
    Each portion of nitrogen is eaten over a stretch of the sugar, ammonium faster than amino
    nitrogen: ``1 - exp(-(x - x0)/width)`` with widths drawn per member (assumed). Cells grow by
    the nitrogen eaten over their nitrogen content. Alcohol is 0.47 g per g of sugar used
    (common practice, no source).
    """
    additions = [(max(at, JUST_IN), one) for at, one in additions]
    x = np.unique(np.concatenate([points, *_around(additions)]))
    eaten_share = data.load("acids")["ferment"]["amino_taken_share"]
    ammonium = _column(ammonium_mg_l) * _eaten(x, 0.0, traits.ammonium_width)
    amino = eaten_share * _column(amino_mg_l) * _eaten(x, 0.0, traits.amino_width)
    placed = []
    for start, addition in additions:
        ammonium = ammonium + addition.ammonium_mg_l * _eaten(x, start, traits.ammonium_width)
        amino = amino + eaten_share * addition.amino_mg_l * _eaten(x, start, traits.amino_width)
        placed.append(replace(addition, given=np.where(x >= start, 1.0, 0.0)))
    used = x * fermentable_g_l
    ethanol = used * ETHANOL_YIELD_G_G / ETHANOL_G_L_PER_PCT_VOL
    nitrogen_g_l = (ammonium + amino) / 1000
    return AcidCourse(
        x,
        np.maximum(sugar_g_l - used, 0.0),
        ethanol,
        np.full_like(x, temperature_c),
        ammonium,
        amino,
        nitrogen_g_l / traits.nitrogen_share[:, None],
        tuple(placed),
    )


def _around(additions: Sequence[tuple[float, CourseAddition]]) -> list[Floats]:
    """Moments just before, at and shortly after each addition."""
    return [np.clip([a - 1e-6, a, a + 0.03, a + 0.06], 0.0, 1.0) for a, _ in additions if a < 1]


def _eaten(x: Floats, start: float, width: Floats) -> Floats:
    since = np.maximum(x[None, :] - start, 0.0)
    return np.asarray(1 - np.exp(-since / width[:, None]))


def _column(value: Floats | float) -> Floats:
    flat = np.atleast_1d(np.asarray(value, dtype=float))
    return flat[:, None]
