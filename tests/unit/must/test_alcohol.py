"""The mass balance: it closes, it inverts, and rivals lie near it."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mustwright.constants import BYPRODUCT_YIELD_G_G, HEXOSE_PER_SUCROSE_G_G
from mustwright.errors import ImpossibleError, ValidityWarning
from mustwright.must import alcohol as a
from mustwright.must.alcohol_rivals import ALCOHOL_FORMULAS
from mustwright.must.density import must_density_kg_m3
from mustwright.must.gravity import gravity_from_composition

EXTRACT = st.floats(20, 380)
SHARE = st.floats(0, 1)
YIELD = st.floats(0.40, 0.48)


@given(EXTRACT, SHARE, YIELD, st.floats(0, 0.05), st.floats(0, 0.3))
def test_mass_closes(extract, share, ethanol_yield, byproducts, sucrose_share):
    sucrose = sucrose_share * extract
    fermentable = 0.95 * (extract - sucrose) + HEXOSE_PER_SUCROSE_G_G * sucrose
    left = a.ferment(
        extract,
        fermentable,
        share * fermentable,
        sucrose_g_l=sucrose,
        ethanol_yield_g_g=ethanol_yield,
        byproduct_yield_g_g=byproducts,
    )
    before = float(must_density_kg_m3(extract, 0.0))
    assert left.mass_g + left.co2_g + left.settled_g == pytest.approx(before, abs=1e-9)
    parts = left.ethanol_g + left.co2_g + left.byproducts_g + left.settled_g
    assert parts == pytest.approx(left.hexose_used_g, abs=1e-9)
    assert left.density_kg_m3 * left.volume_l == pytest.approx(left.mass_g, abs=1e-9)
    density = float(must_density_kg_m3(left.extract_g_l, left.ethanol_g_l))
    assert density == pytest.approx(left.density_kg_m3, abs=1e-8)
    inverted = (HEXOSE_PER_SUCROSE_G_G - 1) * sucrose * share
    kept = extract + inverted - left.hexose_used_g + left.byproducts_g
    assert left.extract_g == pytest.approx(kept, abs=1e-9)


@given(st.floats(900, 1300), EXTRACT, st.floats(0, 200))
def test_volume_in_plain_numbers_is_the_same(mass, extract, ethanol):
    whole = a.volume_l_from_contents([mass], extract, ethanol)
    assert a.volume_l_of(mass, extract, ethanol) == whole[0]


@given(EXTRACT)
def test_nothing_fermented_leaves_the_must(extract):
    same = a.ferment(extract, extract, 0.0)
    assert same.volume_l == pytest.approx(1.0, abs=1e-12)
    assert same.gravity == pytest.approx(float(gravity_from_composition(extract, 0.0)), abs=1e-12)
    assert same.ethanol_pct_vol == 0.0


@settings(deadline=None)
@given(EXTRACT, st.floats(0.05, 0.95))
def test_inverting_the_balance(extract, share):
    then = a.ferment(extract, extract, share * extract)
    start = a.ferment(extract, extract, 0.0)
    again = a.ferment(extract, extract, to_gravity=then.gravity)
    assert again.hexose_used_g == pytest.approx(then.hexose_used_g, abs=1e-6)
    from_gravities = a.alcohol_from_gravities(start.gravity, then.gravity)
    assert from_gravities.ethanol_pct_vol == pytest.approx(then.ethanol_pct_vol, abs=2e-3)


@given(EXTRACT, st.floats(0, 0.98))
def test_gravity_falls_and_alcohol_rises(extract, share):
    earlier = a.ferment(extract, extract, share * extract)
    later = a.ferment(extract, extract, (share + 0.02) * extract)
    assert later.gravity < earlier.gravity
    assert later.ethanol_pct_vol > earlier.ethanol_pct_vol


def test_dry_mead_ends_below_water():
    assert 0.985 < a.ferment(264.0, 250.0).gravity < 1.0


@given(EXTRACT)
def test_unfermentable_extract_stays(extract):
    dry = a.ferment(extract, 0.9 * extract)
    kept = 0.1 * extract + BYPRODUCT_YIELD_G_G * 0.9 * extract
    assert dry.extract_g == pytest.approx(kept, abs=1e-9)


def test_sucrose_gives_more_alcohol_than_hexose():
    hexose = a.potential_alcohol_pct(200.0, 200.0)
    sucrose = a.potential_alcohol_pct(200.0, 200.0 * HEXOSE_PER_SUCROSE_G_G, sucrose_g_l=200.0)
    assert sucrose / hexose == pytest.approx(HEXOSE_PER_SUCROSE_G_G, rel=0.01)


def test_volume_shrinks_while_sugar_goes():
    assert 0.9 < a.ferment(264.0, 264.0).volume_l < 1.0


@pytest.mark.parametrize(
    ("given_", "field"),
    [
        ({"hexose_used_g_l": 251.0}, "hexose_used_g_l"),
        ({"hexose_used_g_l": -1.0}, "hexose_used_g_l"),
        ({"to_gravity": 1.2}, "to_gravity"),
        ({"to_gravity": 0.9}, "to_gravity"),
        ({"to_gravity": 1.0, "hexose_used_g_l": 1.0}, "to_gravity"),
        ({"ethanol_yield_g_g": 0.55}, "ethanol_yield_g_g"),
        ({"byproduct_yield_g_g": 0.2}, "byproduct_yield_g_g"),
    ],
)
def test_impossible_fermentations_name_the_field(given_, field):
    with pytest.raises(ImpossibleError) as caught:
        a.ferment(264.0, 250.0, **given_)
    assert caught.value.field == field


def test_negative_sugar_is_refused():
    with pytest.raises(ImpossibleError, match="fermentable_hexose_g_l"):
        a.ferment(264.0, -1.0)


def test_beyond_the_density_table_warns():
    with pytest.warns(ValidityWarning, match="25 % vol"):
        a.ferment(600.0, 600.0)


@pytest.mark.parametrize(("original", "final"), [(1.060, 1.005), (1.090, 0.998), (1.105, 1.005)])
def test_rivals_lie_near_each_other(original, final):
    """Every formula in its own field: within 6 % of the balance, so none is mistyped."""
    best = ALCOHOL_FORMULAS["mass balance"](original, final)
    for name, formula in ALCOHOL_FORMULAS.items():
        assert formula(original, final) == pytest.approx(best, rel=0.06), name


def test_rivals_name_their_source():
    for formula in ALCOHOL_FORMULAS.values():
        assert formula.source
        assert formula.formula
        assert formula.validity


@pytest.mark.parametrize("pct", [0.5, 12.0, 18.0])
def test_pct_vol_there_and_back(pct):
    back = a.ethanol_pct_vol_from_g_l(a.ethanol_g_l_from_pct_vol(pct))
    assert float(back) == pytest.approx(pct, abs=1e-12)
