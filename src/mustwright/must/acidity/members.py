"""What might be in this must: its acids and ions, drawn from its ingredients' ranges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mustwright import data
from mustwright.constants import (
    CALCIUM_G_MOL,
    MAGNESIUM_G_MOL,
    NITROGEN_G_MOL,
    PHOSPHORUS_G_MOL,
    POTASSIUM_G_MOL,
    SODIUM_G_MOL,
    TARTARIC_G_MOL,
)
from mustwright.figure import Figure
from mustwright.must.acidity.balance import Solution, solution, solve_ph, titratable_acid
from mustwright.must.acidity.draws import spread, uniform
from mustwright.must.acidity.medium import co2_mol_kg, solvent_kg_l, sugar_mass_pct
from mustwright.must.acidity.speciation import charge_means
from mustwright.must.acidity.species import must_chemistry
from mustwright.must.blend import Portion

Floats = NDArray[np.float64]
TARTARIC_MEQ_G = 2000 / TARTARIC_G_MOL
CARBONIC_STEPS = 6  # the freed gas and the pH agree to 1e-3 after that many turns
# In what an ingredient's pH was read: ionic strength [mol/kg], and kg of solvent per kg of it.
READ_IN = {"honey": (0.003, 7.7)}  # 10 g in 75 mL of water, the method of honey analysis
READ_AS_IT_IS = (0.05, 0.9)  # juice and fruit (assumed)


@dataclass(frozen=True)
class MustMembers:
    """Possible musts, one row each, as mixed and before yeast.

    Parameters
    ----------
    rows : Solution
        Fresh: the lactone of gluconic acid not yet turned to acid.
    lactone : ndarray
        Gluconic lactone still there [mol/kg].
    lactone_at_rest : ndarray
        Moles of lactone per mole of undissociated gluconic acid once they have settled.
    settled : ndarray
        How far they have, 0 (just mixed) to 1.
    potassium_mg_l : ndarray
    solvent_kg_l : float
        Water per litre of must [kg/L].
    sugar_g_l : float
        All that is dissolved [g/L].
    ph_sd : float or None
        Standard deviation of the pH reading that was used, None where none was.
    ta_measured : bool
    """

    rows: Solution
    lactone: Floats
    lactone_at_rest: Floats
    settled: Floats
    potassium_mg_l: Floats
    solvent_kg_l: float
    sugar_g_l: float
    ph_sd: float | None = None
    ta_measured: bool = False

    @property
    def size(self) -> int:
        """How many members."""
        return self.rows.rows

    def ph(self) -> Floats:
        """pH of each as mixed."""
        return solve_ph(self.rows)

    def rested(self, share: Floats | float = 1.0) -> MustMembers:
        """After lactone and acid have settled: wholly (1, some hours) or a part of what is left."""
        totals = self.rows.totals.copy()
        totals[:, self.rows.chemistry.shifted] += self.lactone * share
        more = (1 - self.settled) * share
        lift = self.rows.lift + more * np.log10(1 + self.lactone_at_rest)
        return replace(
            self,
            rows=replace(self.rows, totals=totals, lift=lift),
            lactone=self.lactone * (1 - share),
            settled=self.settled + more,
        )

    def titratable_g_l(self, end: float = 8.2) -> Floats:
        """Titratable acid as tartaric, lactone left out [g/L]."""
        meq_l = 1000 * titratable_acid(self.rows, end) * self.solvent_kg_l
        return np.maximum(meq_l / TARTARIC_MEQ_G, 0.0)


def draw_must(
    portions: Sequence[Portion],
    volume_l: float,
    sugar_g_l: float,
    temperature_c: float,
    members: int,
    seed: int,
    *,
    strength: float = 1.0,
    unknown_make: bool = False,
) -> MustMembers:
    """Draw members of a must from what went into it.

    Parameters
    ----------
    portions : sequence of Portion
        What goes in before the yeast.
    volume_l : float
        Of the must, above 0 [L].
    sugar_g_l : float
        Everything dissolved in it, 0 to 900 [g/L].
    temperature_c : float
        0 to 45 [°C].
    members, seed : int
    strength : float
        Measured over calculated sugar, above 0: everything is that much stronger [-].
    unknown_make : bool
        Nothing is known but the gravity: the acids vary three-fold either way.

    Returns
    -------
    MustMembers

    Notes
    -----
    Each ingredient's pH and titratable acid are drawn from the ranges of its record (two half
    normals, ends at 5 and 95 %); from the two follow its acids and the strong ions that
    partly neutralise them. Water adds its alkalinity.
    """
    rng = np.random.default_rng(seed)
    chemistry = must_chemistry()
    sums = _Sums(np.zeros((members, chemistry.size)), *(np.zeros(members) for _ in range(4)))
    lift = data.load("acids")["acid"][chemistry.shifted]["pk_sd"] * rng.standard_normal(members)
    for portion in portions:
        _add(sums, portion, lift, rng)
    solvent = float(solvent_kg_l(sugar_g_l))
    per_kg = strength / (volume_l * solvent)
    wild = np.exp(0.6 * rng.standard_normal(members)) if unknown_make else np.ones(members)
    lactone = data.load("acids")["lactone"]
    made = solution(
        {a.id: sums.totals[:, i] * per_kg * wild for i, a in enumerate(chemistry.acids)},
        sums.sid * per_kg * wild,
        strong=max(_strong(portions) - abs(float(sums.sid.mean())), 0.0) / 2 * per_kg,
        temperature_c=temperature_c,
        sugar_mass_pct=float(sugar_mass_pct(sugar_g_l)),
        lift=lift,
        pk_per_ethanol=_ethanol_slope(rng, members),
    )
    made = with_freed_gas(
        made, np.minimum(sums.carbonate * per_kg, float(co2_mol_kg(temperature_c)))
    )
    return MustMembers(
        made,
        sums.lactone * per_kg * wild,
        uniform(rng, members, lactone["at_rest_low"], lactone["at_rest_high"]),
        np.zeros(members),
        sums.potassium * strength / volume_l,
        solvent,
        sugar_g_l,
    )


def with_freed_gas(rows: Solution, carbonate: Floats) -> Solution:
    """Rows with the dissolved gas that a content of carbonate leaves at their own pH.

    Parameters
    ----------
    rows : Solution
        Its charge has the carbonate in its strong-ion difference.
    carbonate : ndarray
        Hydrogen carbonate and its gas together, at most what 1 atm holds [mol/kg].

    Notes
    -----
    ``gas = carbonate / (1 + K1 / [H])``; pH and gas are brought into line by turns.
    """
    k1 = 10.0 ** -float(data.load("acids")["carbonic"]["pk"][0])
    gas = carbonate.copy()
    for _ in range(CARBONIC_STEPS):
        ph = solve_ph(replace(rows, co2=gas))
        gas = 0.5 * (gas + carbonate / (1 + k1 * 10.0**ph))
    return replace(rows, co2=gas)


def pick(must: MustMembers, rows: NDArray[np.int64]) -> MustMembers:
    """Some of the members."""
    return replace(
        must,
        rows=must.rows.take(rows),
        lactone=must.lactone[rows],
        lactone_at_rest=must.lactone_at_rest[rows],
        settled=must.settled[rows],
        potassium_mg_l=must.potassium_mg_l[rows],
    )


@dataclass
class _Sums:
    """Moles (potassium: mg) gathered over the ingredients."""

    totals: Floats
    sid: Floats
    lactone: Floats
    potassium: Floats
    carbonate: Floats


def _ethanol_slope(rng: np.random.Generator, members: int) -> Floats:
    medium = data.load("acids")["medium"]
    drawn = rng.standard_normal(members) * medium["pk_per_ethanol_sd"]
    return np.asarray(np.maximum(medium["pk_per_ethanol_pct"] + drawn, 0.0))


def _drawn(portion: Portion, name: str, rng: np.random.Generator, members: int) -> Floats:
    """One figure of an ingredient for every member, not below zero; zero where nobody stated it."""
    figure = portion.ingredient.figures.get(name)
    z = rng.standard_normal(members)
    if figure is None:
        return np.zeros(members)
    return np.maximum(spread(figure, z), 0.0)


def _drawn_ph(portion: Portion, figure: Figure, rng: np.random.Generator, members: int) -> Floats:
    z = rng.standard_normal(members)
    wide = data.load("acids")["honey_ph_spread"]
    if portion.ingredient.id == wide["id"] and figure.low is not None:
        half = np.where(z < 0, wide["down"], wide["up"])
        return np.asarray(np.clip(figure.value + half * z, 2.0, 9.0))
    if figure.low is None:
        sd = data.load("acids")["reading"]["meter_sd"]
        return np.asarray(np.clip(figure.value + sd * z, 2.0, 9.0))
    return np.clip(spread(figure, z), 2.0, 9.0)


def _add(sums: _Sums, portion: Portion, lift: Floats, rng: np.random.Generator) -> None:
    """Put one ingredient's acids and strong ions into the sums."""
    members = sums.sid.size
    kg = portion.kg * portion.ingredient.share_edible
    sums.potassium += kg * _drawn(portion, "potassium_mg_kg", rng, members)
    alkalinity = kg * _drawn(portion, "alkalinity_meq_kg", rng, members) / 1000
    sums.sid += alkalinity
    sums.carbonate += alkalinity
    chemistry = must_chemistry()
    fixed = np.zeros_like(sums.totals)
    for name, figure, mass in (
        ("phosphoric", "phosphorus_mg_kg", PHOSPHORUS_G_MOL),
        ("ammonium", "ammonium_n_mg_kg", NITROGEN_G_MOL),
        ("amino", "amino_n_mg_kg", NITROGEN_G_MOL),
    ):
        fixed[:, chemistry.index(name)] = _drawn(portion, figure, rng, members) / 1000 / mass
    titratable = _drawn(portion, "titratable_acid_meq_kg", rng, members) / 1000
    figure_ph = portion.ingredient.figures.get("ph")
    if figure_ph is None or portion.ingredient.form == "water":
        sums.totals += kg * fixed
        return
    ph = _drawn_ph(portion, figure_ph, rng, members)
    read_in = READ_IN.get(portion.ingredient.form, READ_AS_IT_IS)
    main = portion.ingredient.main_acid
    acids, sid, lactone = _acids(main, ph, titratable, fixed, lift, read_in, rng)
    sums.totals += kg * acids
    sums.sid += kg * sid
    sums.lactone += kg * lactone


def _acids(
    main: str,
    ph: Floats,
    titratable: Floats,
    fixed: Floats,
    lift: Floats,
    read_in: tuple[float, float],
    rng: np.random.Generator,
) -> tuple[Floats, Floats, Floats]:
    """Acids, strong ions and lactone [mol/kg] that give a pH and a titratable acid together."""
    chemistry = must_chemistry()
    ionic, solvent = read_in
    here = charge_means(chemistry, ph, ionic, lift=lift)
    end = charge_means(chemistry, np.full_like(ph, 8.2), ionic, lift=lift)
    gives = np.maximum(here - end, 1e-3)
    left = np.maximum(titratable - (fixed * gives).sum(axis=1), 0.05 * titratable)
    lactone = np.zeros_like(ph)
    acids = fixed.copy()
    for name, share in _shares(main, rng, ph.size).items():
        j = chemistry.index(name)
        part = share * left
        if name == "gluconic":
            record = data.load("acids")["lactone"]
            drawn = record["share_of_titratable"] + record["share_sd"] * rng.standard_normal(
                ph.size
            )
            lactone = np.clip(drawn * titratable, 0.0, 0.8 * part)
            part = part - lactone
        acids[:, j] += np.minimum(part / gives[:, j], 20 * part + 1e-9)
    hydrogen = solvent * (10.0**-ph - 10.0 ** (ph - 14))
    sid = -(acids * here).sum(axis=1) - hydrogen
    return acids, sid, lactone


def _shares(main: str, rng: np.random.Generator, members: int) -> dict[str, Floats]:
    """Shares of the titratable acid by acid; each member moves some from the first to the rest."""
    made = data.load("acids")["make_up"]
    record = next((m for m in made if m["main"] == main), made[1])
    names = list(record["shares"])
    moved = record["shift"] * rng.uniform(-1, 1, members)
    rest = sum(record["shares"][n] for n in names[1:])
    moved = np.clip(moved, -rest, record["shares"][names[0]])
    shares = {names[0]: record["shares"][names[0]] - moved}
    for name in names[1:]:
        shares[name] = record["shares"][name] * (1 + moved / rest)
    return shares


def _strong(portions: Sequence[Portion]) -> float:
    """Sum of charge squared times content over the metals, with as many strong anions [mol]."""
    squares = 0.0
    for p in portions:
        kg = p.kg * p.ingredient.share_edible
        for name, mass, charge in (
            ("potassium", POTASSIUM_G_MOL, 1),
            ("sodium", SODIUM_G_MOL, 1),
            ("calcium", CALCIUM_G_MOL, 2),
            ("magnesium", MAGNESIUM_G_MOL, 2),
        ):
            figure = p.ingredient.figures.get(f"{name}_mg_kg")
            if figure is not None:
                squares += kg * figure.value / 1000 / mass * (charge * charge + charge)
    return squares
