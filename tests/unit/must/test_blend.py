"""The mass balance of a must: mass is kept, volume and gravity are those of the mixed liquid."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import cases
from mustwright.figure import ASSUMED, Figure
from mustwright.must.alcohol import ferment
from mustwright.must.blend import (
    INSOLUBLE_DENSITY_KG_L,
    Blend,
    Portion,
    fermentable_hexose,
    measured_figures,
    must_figures,
)
from mustwright.must.gravity import brix_from_gravity, gravity_from_brix
from mustwright.must.ingredient import DISSOLVED, all_ingredients, ingredient_called, with_lot_facts

RECORDS = sorted(all_ingredients())
SPS4 = Path(__file__).parents[2] / "reference" / "values" / "icumsa_sps4.csv"


def portion(kind: str, kg: float, **facts: float) -> Portion:
    generic = ingredient_called(kind, "kind")[0]
    return Portion(with_lot_facts(generic, facts, "f")[0], kg, kind=kind)


def icumsa_density_kg_l(brix: float) -> float:
    """Density at 20 C from the printed rows of ICUMSA SPS-4, by a cubic through the nearest four.

    Read from the reference values and not from the code under test.
    """
    with SPS4.open(encoding="utf-8") as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        table = sorted(
            (float(r["brix"]), float(r["value"]) / 1000)
            for r in rows
            if r["temp_c"] == "20" and r["unit"] == "kg/m3"
        )
    near = sorted(table, key=lambda row: abs(row[0] - brix))[:4]
    x, y = zip(*near, strict=True)
    return float(np.polyval(np.polyfit(np.array(x) - brix, y, 3), 0.0))


AMOUNTS = st.lists(
    st.tuples(st.sampled_from(RECORDS), st.floats(0.001, 1000)), min_size=1, max_size=6
)


@cases(500)
@given(AMOUNTS)
def test_mass_in_is_water_and_dissolved_and_insoluble(amounts):
    blend = Blend([Portion(all_ingredients()[i], kg) for i, kg in amounts])
    mass = sum(kg for _, kg in amounts)
    kept = blend.water_kg + blend.dissolved_kg + blend.insoluble_kg
    assert kept == pytest.approx(mass, rel=2e-3)  # records close to 100 % within 0.2
    parts = sum(blend.dissolved_g_l(part) for part in DISSOLVED) * blend.volume_l / 1000
    assert parts == pytest.approx(blend.dissolved_kg, rel=1e-9)
    assert blend.filled_l >= blend.volume_l
    assert 0 <= blend.glucose_share <= 1
    assert 0 <= blend.brix <= 100


@cases(300)
@given(AMOUNTS, st.floats(0.01, 100))
def test_twice_as_much_is_the_same_must(amounts, factor):
    one = Blend([Portion(all_ingredients()[i], kg) for i, kg in amounts])
    more = Blend([Portion(all_ingredients()[i], kg * factor) for i, kg in amounts])
    assert more.gravity == pytest.approx(one.gravity, rel=1e-12)
    assert more.volume_l == pytest.approx(one.volume_l * factor, rel=1e-9)
    assert more.fermentable_g_l == pytest.approx(one.fermentable_g_l, rel=1e-9)


@pytest.mark.parametrize("honey_kg", [2.0, 6.0, 10.0])
def test_volume_is_mass_over_the_printed_density(honey_kg):
    blend = Blend([portion("honey", honey_kg), portion("pure water", 15)])
    liquid = blend.water_kg + blend.dissolved_kg
    assert blend.volume_l == pytest.approx(liquid / icumsa_density_kg_l(blend.brix), rel=1e-5)


def test_six_kilos_in_nineteen_litres_by_hand():
    """Honey of 17.7 % moisture (0.05 % of it never dissolves) for 19 L at gravity 1.100.

    NBS C440 Table 113 puts gravity 1.100 at 23.77 Brix; the density of 23.77 Brix is that of
    ICUMSA SPS-4. Must weighs 19 L x density; 23.77 % of that is dissolved, and a kg of honey
    dissolves 1 - 0.177 - 0.0005 kg.
    """
    brix = 23.77
    must_kg = 19 * icumsa_density_kg_l(brix)
    by_hand = brix / 100 * must_kg / (1 - 0.177 - 0.0005)
    assert by_hand == pytest.approx(6.03, abs=0.01)
    water = must_kg - by_hand * (1 - 0.0005)
    blend = Blend([portion("honey", by_hand, moisture_pct=17.7), portion("pure water", water)])
    assert blend.volume_l == pytest.approx(19, rel=1e-4)
    assert blend.gravity == pytest.approx(1.100, abs=5e-5)
    assert float(brix_from_gravity(1.1)) == pytest.approx(brix, abs=0.005)


def test_fruit_solids_displace_volume():
    blend = Blend([portion("raspberries", 4), portion("water", 10)])
    solids = blend.insoluble_kg
    assert solids > 0.2
    assert blend.filled_l - blend.volume_l == pytest.approx(solids / INSOLUBLE_DENSITY_KG_L)


def test_a_kilogram_of_sucrose_gives_more_hexose_than_it_weighs():
    sugar = ingredient_called("sugar", "kind")[0]
    assert fermentable_hexose(sugar) / sugar.dissolved == pytest.approx(1.0526, abs=0.003)


def test_malt_leaves_its_dextrins():
    malt = ingredient_called("malt syrup", "kind")[0]
    assert fermentable_hexose(malt) / malt.dissolved < 0.75


def test_figures_agree_with_the_blend_and_carry_ranges():
    blend = Blend([portion("honey", 6), portion("water", 15)])
    figures = must_figures(blend)
    assert figures.gravity.value == blend.gravity
    assert figures.volume_l.value == blend.volume_l
    assert figures.density_kg_m3.value / 1000 == pytest.approx(
        icumsa_density_kg_l(blend.brix), rel=1e-5
    )
    for name in ("gravity", "brix", "potential_alcohol_pct", "fermentable_sugar_g_l"):
        figure = getattr(figures, name)
        assert figure.low < figure.value < figure.high
    dry = figures.dry_gravity
    assert dry.low < dry.value < dry.high
    assert dry.value < 1.0


def test_a_lot_of_known_moisture_narrows_the_range():
    generic = must_figures(Blend([portion("honey", 6), portion("pure water", 15)])).brix
    known = must_figures(Blend([portion("honey", 6, moisture_pct=17), portion("pure water", 15)]))
    assert generic.high - generic.low > 0.5
    assert known.brix.low is None or known.brix.high - known.brix.low < 0.1


@pytest.mark.parametrize("brix", [0.0, 5.0, 23.2, 35.0])
def test_a_measured_must_is_what_its_brix_says(brix):
    figures = measured_figures(
        Figure(10, "L", "typed", ASSUMED),
        Figure(brix, "Brix", "measured", ASSUMED),
        Figure(float(gravity_from_brix(brix)), "SG 20/20", "measured", ASSUMED),
    )
    sugar = brix / 100 * icumsa_density_kg_l(brix) * 1000 if brix else 0.0
    assert figures.sugar_g_l.value == pytest.approx(sugar, rel=1e-4)
    expected = ferment(figures.sugar_g_l.value, 0.95 * figures.sugar_g_l.value)
    assert figures.potential_alcohol_pct.value == pytest.approx(expected.ethanol_pct_vol)
    assert figures.potential_alcohol_pct.low <= figures.potential_alcohol_pct.value
    assert figures.potential_alcohol_pct.value <= figures.potential_alcohol_pct.high
