"""Ingredients: names people use, and a lot's own facts in place of the record's."""

import pytest

from mustwright.errors import InputError, UnknownKindError
from mustwright.figure import TYPED
from mustwright.must.ingredient import (
    DISSOLVED,
    LOT_FACTS,
    all_ingredients,
    ingredient_called,
    with_lot_facts,
)
from mustwright.must.refraction import honey_moisture_pct_from_refractive_index


def called(kind):
    return ingredient_called(kind, "kind")[0]


def lot(kind, **facts):
    return with_lot_facts(called(kind), facts, "f")[0]


@pytest.mark.parametrize("identity", sorted(all_ingredients()))
def test_every_ingredient_closes_to_its_own_mass(identity):
    found = all_ingredients()[identity]
    assert found.water + found.dissolved + found.share("insoluble") == pytest.approx(1, abs=0.002)
    assert 0.8 <= found.density_kg_l <= 1.6


@pytest.mark.parametrize(
    ("typed", "identity"),
    [
        ("honey", "honey_generic"),
        ("Clover Honey", "clover_honey"),
        ("orange_blossom-honey", "citrus_honey"),
        ("raspberries", "raspberry"),
        ("raisins", "raisin"),
        ("  tap   water ", "tap_water"),
        ("liquid malt extract", "malt_syrup"),
    ],
)
def test_names_as_people_use_them(typed, identity):
    assert called(typed).id == identity


def test_an_unknown_honey_is_taken_as_generic_and_says_so():
    found, assumed = ingredient_called("meadow thyme honey", "must.ingredient[0].kind")
    assert found.id == "honey_generic"
    assert "meadow thyme honey" in assumed
    assert assumed.startswith("must.ingredient[0].kind")


@pytest.mark.parametrize(("typed", "near"), [("rasberries", "raspberries"), ("aple", "apple")])
def test_an_unknown_name_offers_near_ones(typed, near):
    with pytest.raises(UnknownKindError) as error:
        called(typed)
    assert near in error.value.requirement
    assert error.value.field == "kind"


@pytest.mark.parametrize("kind", [None, 3, "", "  ", "x" * 81, ["honey"]])
def test_what_is_no_name_is_refused(kind):
    with pytest.raises(InputError):
        called(kind)


def test_typed_moisture_scales_all_else():
    wet, dry = lot("honey", moisture_pct=20), lot("honey", moisture_pct="16 %")
    assert (wet.water, dry.water) == pytest.approx((0.20, 0.16))
    ratio = 84 / 80
    for part in ("glucose", "fructose", "sucrose"):
        assert dry.share(part) / wet.share(part) == pytest.approx(ratio)
    amino = "amino_n_mg_kg"
    assert dry.figures[amino].value / wet.figures[amino].value == pytest.approx(ratio)
    assert dry.figures["water_pct"].source == TYPED
    assert dry.density_kg_l > wet.density_kg_l


def test_refractive_index_stands_for_moisture():
    by_index = lot("honey", refractive_index=1.4915)
    moisture = float(honey_moisture_pct_from_refractive_index(1.4915))
    assert by_index.water == pytest.approx(moisture / 100)
    both = lot("honey", refractive_index=1.4915, moisture_pct=17)
    assert both.water == pytest.approx(0.17)


@pytest.mark.parametrize("fact", [{"moisture_pct": 17}, {"refractive_index": 1.49}])
@pytest.mark.parametrize("kind", ["water", "apple juice", "raspberries"])
def test_moisture_goes_only_with_what_is_nearly_dry(fact, kind):
    with pytest.raises(InputError, match="goes only with honey"):
        lot(kind, **fact)


@pytest.mark.parametrize("kind", ["apple juice", "cherries", "grapes"])
@pytest.mark.parametrize("brix", [9.0, 13.5, 24.0])
def test_typed_brix_is_that_of_the_liquid(kind, brix):
    found = lot(kind, brix=brix)
    assert 100 * found.dissolved / (found.dissolved + found.water) == pytest.approx(brix)
    edible = found.water + found.dissolved + found.share("insoluble")
    assert edible == pytest.approx(1, abs=0.002)


@pytest.mark.parametrize(
    ("kind", "brix", "words"),
    [("cherries", 0, "besides sugar"), ("water", 5, "something sweet")],
)
def test_an_impossible_brix_names_its_field(kind, brix, words):
    if kind == "water":
        kind = "pure water"
    with pytest.raises(InputError, match=words) as error:
        lot(kind, brix=brix)
    assert error.value.field == "f.brix"


def nitrogen_mg_kg(found):
    return sum(found.figures[f"{kind}_n_mg_kg"].value for kind in ("ammonium", "amino"))


def test_nitrogen_per_kg_keeps_the_split_of_the_record():
    before, after = called("honey"), lot("honey", yan_mg_kg=90)
    assert nitrogen_mg_kg(after) == pytest.approx(90)
    split = "ammonium_n_mg_kg"
    kept = before.figures[split].value / nitrogen_mg_kg(before)
    assert after.figures[split].value / 90 == pytest.approx(kept)


def test_nitrogen_per_litre_of_juice_comes_back_per_litre():
    juice = lot("apple juice", yan_mg_l=95)
    assert nitrogen_mg_kg(juice) * juice.density_kg_l == pytest.approx(95, rel=1e-3)


def test_stones_and_stems_count_once():
    """Nitrogen is per kg edible; a kg as bought brings that times its edible share."""
    plain, stony = lot("cherries", refuse_pct=0), lot("cherries", refuse_pct=20)
    assert nitrogen_mg_kg(plain) == nitrogen_mg_kg(stony)
    assert stony.share_edible == pytest.approx(0.8)
    assert stony.dissolved / plain.dissolved == pytest.approx(0.8)
    assert stony.share("insoluble") == pytest.approx(0.8 * plain.share("insoluble") + 0.2)


def test_nitrogen_per_litre_does_not_depend_on_the_stones():
    few, many = (
        lot("cherries", refuse_pct=0, yan_mg_l=150),
        lot("cherries", refuse_pct=30, yan_mg_l=150),
    )
    assert nitrogen_mg_kg(few) == pytest.approx(nitrogen_mg_kg(many))


@pytest.mark.parametrize("name", sorted(LOT_FACTS))
@pytest.mark.parametrize(
    "value", [True, None, "much", "", [], {}, float("nan"), float("inf"), -1e9, 1e9]
)
def test_a_fact_that_is_no_number_in_range_names_its_field(name, value):
    with pytest.raises(InputError) as error:
        lot("honey", **{name: value})
    assert error.value.field == f"f.{name}"


@pytest.mark.parametrize("name", ["colour", "water_pct"])
def test_an_unknown_fact_is_refused(name):
    with pytest.raises(InputError, match="is no lot fact"):
        lot("honey", **{name: 1})


def test_shares_never_go_below_zero():
    for found in all_ingredients().values():
        assert all(found.share(part) >= 0 for part in (*DISSOLVED, "water", "insoluble"))


def test_a_water_by_what_its_supplier_prints():
    """125 mg/L as CaCO3 is 2.5 meq/L; 7 German degrees 2.50 meq/L, 0.8 of it carbonate."""
    by_alkalinity = lot("water", alkalinity_mg_l=125).figures["alkalinity_meq_kg"]
    assert by_alkalinity.value == pytest.approx(2.5, abs=0.005)
    by_hardness = lot("water", hardness_dh=7).figures["alkalinity_meq_kg"]
    assert by_hardness.value == pytest.approx(0.8 * 2.4964, abs=1e-3)
    assert by_hardness.low < by_hardness.value < by_hardness.high
    with pytest.raises(InputError, match="only as water"):
        lot("honey", hardness_dh=7)


def test_honey_is_drawn_by_its_published_standard_deviation():
    """White1962: moisture 17.2, SD 1.46; total acid 29.12, SD 10.33 meq/kg, of 490 honeys."""
    honey = ingredient_called("honey", "kind")[0]
    for name, mean, sd in (("water_pct", 17.2, 1.46), ("titratable_acid_meq_kg", 29.12, 10.33)):
        figure = honey.figures[name]
        assert figure.value == mean
        assert (figure.high - figure.low) / 2 / 1.6449 == pytest.approx(sd, rel=1e-3)
