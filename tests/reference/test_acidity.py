"""Acid and buffer against printed values, and against what ferments have been seen to do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from mustwright.must.acidity.balance import base_to_ph, buffer_capacity, solution, solve_ph
from mustwright.must.acidity.calibrate import calibrate
from mustwright.must.acidity.course import (
    draw_traits,
    nutrient_addition,
    usual_course,
)
from mustwright.must.acidity.draws import quantile
from mustwright.must.acidity.medium import co2_mol_kg, solvent_kg_l
from mustwright.must.acidity.members import TARTARIC_MEQ_G, MustMembers, draw_must
from mustwright.must.acidity.path import ph_along
from mustwright.must.acidity.potassium import potassium_for_ph
from mustwright.must.acidity.salts import salt_called
from mustwright.must.acidity.speciation import charge_means
from mustwright.must.acidity.species import Acid, chemistry_of, known_acids
from mustwright.must.blend import Blend, Portion
from mustwright.must.gravity import brix_from_gravity
from mustwright.must.ingredient import all_ingredients, with_lot_facts

# Goldberg2002, values from memory; only the standard needs it.
PHTHALIC = Acid("phthalic", (2.950, 5.408), (-2.70, -2.17), (-91.0, -295.0), 0, 166.13, 2, "")
WITH_PHTHALIC = chemistry_of([*known_acids(), PHTHALIC])
MEMBERS = 1500


@pytest.mark.rows("acid_standard_buffers.csv")
def test_standard_buffers(row, agree):
    made = solution(
        {row.given["solution"]: row["acid_mol_kg"]},
        row["potassium_mol_kg"],
        temperature_c=row["temperature_c"],
        chemistry=WITH_PHTHALIC,
    )
    agree(row, solve_ph(made)[0])


@pytest.mark.rows("acid_deacidification.csv", "grams of salt")
def test_deacidification(row, agree):
    agree(row, TARTARIC_MEQ_G / salt_called(row.given["salt"]).base_meq_g)


@pytest.mark.rows("acid_deacidification.csv", "potassium", "calcium")
def test_metal_of_the_salts(row, agree):
    salt = salt_called(row.given["salt"])
    agree(row, salt.calcium_mg_g if "calcium" in row.quantity else salt.potassium_mg_g)


@pytest.mark.rows("acid_tartaric_species.csv")
def test_forms_of_tartaric_acid(row, agree):
    """The mean charge gives the middle form; the others follow from the ratio of neighbours."""
    acid = Acid("tartaric", (2.98, 4.34), (0.0, 0.0), (0.0, 0.0), 0, 150.086, 2, "")
    mean = -float(charge_means(chemistry_of([acid]), row["ph"], 0.0, temperature_c=25.0)[0, 0])
    ratio = 10 ** (row["ph"] - 4.34)
    middle = (mean - 0.0) / (1 + 2 * ratio)
    shares = (1 - middle - middle * ratio, middle, middle * ratio)
    agree(row, 100 * shares[int(row["species"])])


@pytest.mark.rows("acid_co2.csv")
def test_gas_in_solution(row, agree):
    agree(row, float(co2_mol_kg(row["temperature_c"])))


@pytest.mark.rows("acid_potassium.csv")
def test_potassium_for_the_ratio(row, agree):
    agree(row, float(potassium_for_ph(row["ph"])))


def test_solvent_of_a_must_at_1100():
    sugar = brix_from_gravity(1.100) / 100 * 1098.2
    assert float(solvent_kg_l(sugar)) == pytest.approx(0.838, abs=0.002)


# Musts of known make --------------------------------------------------------------------------


def honey_must(gravity_brix: float, ph: float | None = 3.93, members: int = MEMBERS):
    """Honey in pure water; its own pH typed where given."""
    known = all_ingredients()
    honey = known["honey_generic"]
    if ph is not None:
        honey, _ = with_lot_facts(honey, {"ph": ph}, "honey")
    share = gravity_brix / 82.75
    blend = Blend([Portion(honey, share), Portion(known["pure_water"], 1 - share)])
    must = draw_must(blend.portions, blend.volume_l, blend.sugar_g_l, 20.0, members, 5)
    return blend, must


def fermented(blend: Blend, must: MustMembers, feeds=(), seed: int = 5):
    traits = draw_traits(must.size, seed)
    rows, kg_l = must.rows, must.solvent_kg_l
    own = [rows.totals[:, rows.chemistry.index(k)] * kg_l * 14006.7 for k in ("ammonium", "amino")]
    course = usual_course(
        traits,
        sugar_g_l=blend.sugar_g_l,
        fermentable_g_l=blend.fermentable_g_l,
        temperature_c=20.0,
        ammonium_mg_l=own[0],
        amino_mg_l=own[1],
        additions=feeds,
    )
    return ph_along(must, course, traits)


def dap(mg_n_l: float):
    grams = mg_n_l / 1000 * 132.056 / 28.0134
    return nutrient_addition("DAP", [1.0], ammonium_mg_l=mg_n_l, ammonium_phosphate_g_l=grams)


def band(values) -> tuple[float, float, float]:
    return quantile(values, 0.05), quantile(values, 0.5), quantile(values, 0.95)


def test_ph_of_honey_from_published_acid_and_ash():
    """Honey read as 10 g in 75 mL gives back the pH its record was drawn from."""
    known = all_ingredients()
    blend = Blend([Portion(known["honey_generic"], 0.010), Portion(known["pure_water"], 0.075)])
    must = draw_must(blend.portions, blend.volume_l, blend.sugar_g_l, 20.0, MEMBERS, 1)
    low, middle, high = band(must.ph())
    assert low >= 3.42
    assert high <= 6.10
    assert middle == pytest.approx(3.91, abs=0.10)


@pytest.mark.parametrize("brix", [15, 22, 28, 33])
def test_ph_of_honey_must(brix):
    """Published 3.81 to 3.91 from honey of pH 3.93 (band of this model wider by the meter)."""
    _, must = honey_must(brix)
    rested = must.rested(np.full(must.size, 0.5)).ph()
    low, middle, high = band(rested)
    assert low <= 3.91
    assert high >= 3.81
    assert 3.76 <= middle <= 3.96


@pytest.mark.parametrize("brix", [15, 22, 28, 33])
def test_end_of_honey_must_without_ammonium(brix):
    """Published 3.52 to 3.74 over 15 to 33 Brix: both ends lie inside the 90 % band.

    The print does not say which Brix ended where, so the middle may leave its range by the
    structural doubt of the model (0.12). A must without nitrogen stops short of dry: read at 12 %
    vol at most.
    """
    blend, must = honey_must(brix)
    known = calibrate(must, 5, ph=3.86, ph_sd=0.03).must
    used = min(1.0, 12.0 / (blend.fermentable_g_l * 0.47 / 7.8924))
    low, middle, high = band(fermented(blend, known).at(used))
    assert low <= 3.52
    assert high >= 3.74
    assert 3.52 - 0.12 <= middle <= 3.74 + 0.12


@pytest.mark.parametrize("seen", [3.05, 3.27, 3.29])
def test_finished_plain_meads(seen):
    """A mead of unknown honey and feeding: none to 150 mg N/L of ammonium, evenly."""
    ends = []
    for nitrogen in (0.0, 50.0, 100.0, 150.0):
        blend, must = honey_must(23.0, ph=None)
        feeds = [(0.0, dap(nitrogen))] if nitrogen else []
        ends.append(fermented(blend, must, feeds).ph[:, -1])
    low, _, high = band(np.concatenate(ends))
    assert low <= seen <= high


@pytest.mark.parametrize(
    ("nitrogen", "lowest"), [(100.0, 3.16), (200.0, 2.82)], ids=["DAP 100", "DAP 200"]
)
def test_trough_of_an_earlier_trial_model(nitrogen, lowest):
    """Not evidence of truth: an earlier trial of the same equations, to see that none was lost."""
    blend, must = honey_must(23.77, ph=None, members=8 * MEMBERS)
    known = calibrate(must, 5, ph=3.80, ph_sd=0.02, members=MEMBERS).must
    trough = fermented(blend, known, [(0.0, dap(nitrogen))]).trough()
    assert quantile(trough, 0.5) == pytest.approx(lowest, abs=0.15)


def test_buffer_of_a_honey_must_at_1100():
    """About 5 meq/L per pH near pH 3.9 (Henderson-Hasselbalch); earlier trial 5.8, 2.1 to 11.6."""
    _, must = honey_must(23.77, ph=None)
    values = 1000 * buffer_capacity(must.rows) * must.solvent_kg_l
    low, middle, high = band(values)
    assert low < 5.0 < high
    assert 4.5 <= middle <= 7.5


def test_alkaline_water_lifts_a_honey_must_by_about_an_eighth_per_meq():
    """Earlier trial: +1 meq/L of alkalinity = +0.12 pH at most buffered, more when weak."""
    _, must = honey_must(23.77)
    lifted = replace(must, rows=must.rows.with_base(0.001 / must.solvent_kg_l))
    moved = float(np.median(lifted.ph() - must.ph()))
    assert 0.08 <= moved <= 0.25


def test_chalk_brings_a_soured_mead_back():
    """Observed 2.89 to 3.82 with about 0.24 to 0.36 g/L of calcium carbonate (second-hand)."""
    _, must = honey_must(23.77, ph=None)
    rows = must.rested().rows
    sour = rows.with_base(base_to_ph(rows, 2.89))
    base = np.median(base_to_ph(sour, 3.82)) * must.solvent_kg_l
    grams = 1000 * base / salt_called("caco3").base_meq_g
    assert 0.20 <= grams <= 0.45


def _known(totals: dict[str, float], ph: float, solvent: float, sugar: float) -> MustMembers:
    """Members of a liquid whose make-up is known, at a measured pH, acids varied by a quarter."""
    rng = np.random.default_rng(3)
    acids = {
        k: v / solvent * np.exp(0.25 * rng.standard_normal(MEMBERS)) for k, v in totals.items()
    }
    made = solution(acids, 0.0, temperature_c=20.0, co2=4e-4, pk_per_ethanol=0.0155)
    base = base_to_ph(made, ph + 0.05 * rng.standard_normal(MEMBERS))
    zero = np.zeros(MEMBERS)
    return MustMembers(made.with_base(base), zero, zero, zero, zero + 500.0, solvent, sugar)


def test_wort_falls_from_5_2_to_about_4_2():
    """Free phosphate 9, amino acids 14, weak acid groups 4, small acids 2 mmol/L (from memory)."""
    sugar = 125.0
    must = _known(
        {"phosphoric": 0.009, "amino": 0.014, "succinic": 0.002, "citric": 0.001, "lactic": 0.001},
        5.2,
        float(solvent_kg_l(sugar)),
        sugar,
    )
    traits = draw_traits(MEMBERS, 3)
    course = usual_course(
        traits, sugar_g_l=sugar, fermentable_g_l=85.0, temperature_c=18.0,
        ammonium_mg_l=25.0, amino_mg_l=180.0,
    )  # fmt: skip
    ends = ph_along(must, course, traits).ph[:, -1]
    low, middle, high = band(ends)
    assert low <= 4.2 <= high
    assert 0.6 <= 5.2 - middle <= 1.6


def test_grape_must_hardly_moves():
    """Tartaric 33, malic 22 mmol/L, pH 3.59: moves by 0.2 at most, mostly down (from memory)."""
    sugar = 250.0
    must = _known(
        {"tartaric": 0.033, "malic": 0.022, "phosphoric": 0.003, "amino": 0.012, "ammonium": 0.005},
        3.59,
        float(solvent_kg_l(sugar)),
        sugar,
    )
    traits = draw_traits(MEMBERS, 3)
    course = usual_course(
        traits, sugar_g_l=sugar, fermentable_g_l=235.0, temperature_c=20.0,
        ammonium_mg_l=70.0, amino_mg_l=130.0,
    )  # fmt: skip
    low, middle, high = band(ph_along(must, course, traits).ph[:, -1])
    assert low <= 3.49
    assert high >= 3.59
    assert abs(3.59 - middle) <= 0.2
