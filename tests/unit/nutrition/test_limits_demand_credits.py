"""Law, demand and credit: the small rules the plan stands on."""

import pytest

from musts import ground, sheet
from mustwright.errors import UnknownKindError
from mustwright.figure import ASSUMED, Figure
from mustwright.nutrition.credits import AMMONIUM_SHARE_UNKNOWN
from mustwright.nutrition.demand import demand_rule, demand_rules
from mustwright.nutrition.limits import legal_profile, legal_profiles
from mustwright.nutrition.shelf import generic_nutrients


def figure(value, unit="g/L", low=None, high=None):
    return Figure(value, unit, "given", ASSUMED, {}, low, high)


# Law -----------------------------------------------------------------------------------------


def test_every_profile_says_what_it_is_and_is_no_advice():
    assert set(legal_profiles()) == {"us", "eu", "home"}
    for profile in legal_profiles().values():
        assert profile.edition
        assert "not legal advice" in profile.note
        assert all(limit.source for limit in profile.limits)


def test_a_sum_of_salts_counts_both():
    both = next(x for x in legal_profile("eu").limits if x.substance == "total_ammonium_salts")
    nutrients = generic_nutrients()
    assert both.fraction_in(nutrients["dap"]) == 1
    assert both.fraction_in(nutrients["ammonium_sulfate"]) == 1
    assert 0.2 < both.fraction_in(nutrients["complex_blend"]) < 0.5
    assert both.fraction_in(nutrients["autolysed_yeast"]) == 0


@pytest.mark.parametrize("identity", ["mars", "", None, 3, ["us"]])
def test_an_unknown_profile_lists_the_known(identity):
    with pytest.raises(UnknownKindError, match="eu, home, us"):
        legal_profile(identity)


@pytest.mark.parametrize("identity", ["US", " us ", "us"])
def test_a_profile_in_any_case(identity):
    assert legal_profile(identity).id == "us"


# Demand --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("brix", "mg_n_l"),
    [(21, 200), (22, 225), (23, 250), (25, 300), (27, 350), (31, 450), (19, 150), (5, 100)],
)
def test_the_brix_table_and_beyond_it(brix, mg_n_l):
    demand = demand_rule("brix_table").demand(figure(0), figure(brix), "low")
    assert demand.value == pytest.approx(mg_n_l)


@pytest.mark.parametrize(
    ("rule", "mg_n_l"),
    [("floor_140", 140), ("floor_low_risk_white", 150), ("floor_low_risk_on_solids", 100),
     ("floor_mead_267", 267)],
)  # fmt: skip
def test_floors_ask_the_same_of_every_must(rule, mg_n_l):
    for sugar in (50, 250, 400):
        assert demand_rule(rule).demand(figure(sugar), figure(20), "high").value == mg_n_l


def test_a_published_range_is_shown_as_one():
    demand = demand_rule("measured_range").demand(figure(200), figure(19), "low")
    assert (demand.low, demand.high) == pytest.approx((124, 182))
    assert demand.value == pytest.approx(153)


def test_the_range_of_the_sugar_is_carried_on():
    demand = demand_rule("strain").demand(figure(240, "g/L", 230, 250), figure(22), "low")
    assert (demand.low, demand.high) == pytest.approx((172.5, 187.5))


def test_every_rule_has_an_account_and_a_source():
    for rule in demand_rules().values():
        assert len(rule.account) > 30
        assert rule.source
        assert rule.demand(figure(250), figure(23), "low").value > 0


def test_an_unknown_rule_lists_the_known():
    with pytest.raises(UnknownKindError, match="strain, sugar_by_strain"):
        demand_rule("by_moon")


# Credit --------------------------------------------------------------------------------------


def test_credit_is_what_each_ingredient_holds_over_the_volume():
    g = ground(sheet(volume="20 L"))
    honey_kg = g.must.ingredients[0].kg.value
    honey = g.sheet.portions[0].ingredient
    per_kg = {k: honey.figures[f"{k}_n_mg_kg"].value for k in ("ammonium", "amino")}
    credit = g.setting.credit
    assert credit.ammonium_mg_l.value == pytest.approx(per_kg["ammonium"] * honey_kg / 20, rel=1e-6)
    assert credit.amino_mg_l.value == pytest.approx(per_kg["amino"] * honey_kg / 20, rel=1e-6)


def test_a_kilogram_with_stones_brings_only_its_edible_part():
    def of(refuse):
        fruit = {
            "kind": "cherries",
            "amount": "4 kg",
            "refuse_pct": refuse,
            "yan_mg_kg": 300,
        }
        credit = ground(sheet(volume="20 L", more=(fruit,))).setting.credit
        return (
            credit.amino_mg_l.inputs["cherries"].value
            + credit.ammonium_mg_l.inputs["cherries"].value
        )

    assert of(0) == pytest.approx(300 * 4 / 20, rel=1e-6)
    assert of(25) == pytest.approx(0.75 * 300 * 4 / 20, rel=1e-6)


def test_none_low_and_typical():
    credit = ground(sheet(more=({"kind": "raspberries", "amount": "4 kg"},))).setting.credit
    whole = credit.nitrogen_mg_l
    assert credit.counted("none").value == 0
    assert credit.counted("typical").value == whole.value
    assert credit.counted("low").value == pytest.approx(whole.low)
    assert 0 <= whole.low < whole.value < whole.high


def test_measured_nitrogen_is_split_as_the_ingredients_would():
    plain = ground(sheet()).setting.credit
    measured = ground(sheet(measured={"yan_mg_l": 100})).setting.credit
    share = plain.ammonium_mg_l.value / plain.nitrogen_mg_l.value
    assert measured.nitrogen_mg_l.value == pytest.approx(100)
    assert measured.ammonium_mg_l.value == pytest.approx(100 * share)


def test_measured_nitrogen_of_an_unknown_must():
    content = {"must": {"volume": "10 L"}, "measured": {"brix": "22 Bx", "yan_mg_l": 120}}
    credit = ground(content).setting.credit
    assert credit.ammonium_mg_l.value == pytest.approx(120 * AMMONIUM_SHARE_UNKNOWN)
    assert credit.amino_mg_l.value == pytest.approx(120 * (1 - AMMONIUM_SHARE_UNKNOWN))


def test_an_unmeasured_unknown_must_brings_nothing_and_says_so():
    g = ground({"must": {"volume": "10 L"}, "measured": {"brix": "22 Bx"}})
    assert g.setting.credit.nitrogen_mg_l.value == 0
    assert any("assumed to hold no nitrogen" in warning for warning in g.warnings)


def test_ingredients_that_state_nothing_are_named():
    credit = ground(sheet(more=({"kind": "raspberries", "amount": "4 kg"},))).setting.credit
    unstated = {what for what, names in credit.unknown.items() if names}
    for what in unstated:
        assert credit.traces[what].value >= 0
    assert "raspberries" not in credit.unknown["amino_n"]
