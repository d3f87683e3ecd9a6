"""What makers tell one another, as check values; status: common practice, no source.

Only the two legal limits at the end are published (CFR24246, EC606_2009); their nitrogen is
arithmetic. No row proves anything about fermentation: each says that the tool reckons with the rule
as makers state it.
"""

import pytest

from musts import ENDLESS, feeding, ground, sheet
from mustwright.constants import LITRES_PER_US_GALLON
from mustwright.figure import ASSUMED, COMMON_PRACTICE, Figure
from mustwright.nutrition.demand import demand_rule
from mustwright.nutrition.limits import legal_profile
from mustwright.nutrition.protocols import built_in_protocols
from mustwright.nutrition.shelf import generic_nutrients
from mustwright.planning.plan import compare, plan


def figure(value: float, unit: str) -> Figure:
    return Figure(value, unit, "given", ASSUMED)


def text_of(
    gravity: str = "24 Bx",
    volume: str = "1 US gal",
    more: str = "",
    alcohol: str = "",
) -> str:
    aim = f'alcohol = "{alcohol}"' if alcohol else f'gravity = "{gravity}"'
    return f"""
[must]
volume = "{volume}"
{aim}
[[must.ingredient]]
kind = "honey"
amount = "solve"
[[must.ingredient]]
kind = "water"
amount = "fill"
{more}
"""


@pytest.mark.parametrize(
    ("sugar_g_l", "strain", "mg_n_l"),
    [(240, "low", 180), (240, "medium", 216), (240, "high", 300), (264, "low", 198)],
)
def test_nitrogen_wanted_follows_sugar_and_strain(sugar_g_l, strain, mg_n_l):
    rule = demand_rule("strain")
    demand = rule.demand(figure(sugar_g_l, "g/L"), figure(22.0, "Brix"), strain)
    assert demand.value == pytest.approx(mg_n_l)
    assert demand.source == COMMON_PRACTICE


@pytest.mark.parametrize("gravity", ["1.040", "1.080", "1.100", "1.120"])
@pytest.mark.parametrize("grams", ["2 g", "5 g", "11.5 g"])
def test_rehydration_nutrient_is_one_and_a_quarter_times_the_yeast(gravity, grams):
    pitch = ground(sheet(gravity, "40 L", yeast={"amount": grams})).setting.pitch
    assert pitch.rehydration_nutrient_g.value / pitch.yeast_g.value == pytest.approx(1.25)
    assert pitch.rehydration_nutrient_g.source == COMMON_PRACTICE


def test_rehydration_nutrient_stays_within_its_label_like_any_other_jar():
    setting = ground(sheet("1.100", "19 L", yeast={"amount": "11.5 g"})).setting
    most = generic_nutrients()["rehydration_nutrient"].label_max_g_l
    given = setting.pitch.rehydration_nutrient_g.value
    assert given == pytest.approx(most.value * 19)
    assert given < 1.25 * 11.5


@pytest.mark.parametrize("brix", ["23 Bx", "23.5 Bx", "24 Bx"])
def test_yeast_is_about_a_gram_per_us_gallon_at_24_brix(brix):
    pitch = ground(sheet(brix, "5 US gal")).setting.pitch
    per_gallon = pitch.yeast_g.value / 5
    rate = 1 / LITRES_PER_US_GALLON
    assert rate == pytest.approx(0.264, abs=5e-4)
    assert per_gallon == pytest.approx(1, rel=0.06)
    assert pitch.yeast_g_l.value == pytest.approx(rate, rel=0.06)


def test_a_gram_of_diammonium_phosphate_per_litre_brings_212_mg_of_nitrogen():
    dap = generic_nutrients()["dap"]
    assert dap.per_gram("ammonium_n") == pytest.approx(212, abs=0.5)
    assert dap.per_gram("amino_n") == 0
    plan, setting = feeding(
        sheet("1.140", "1 L", shelf={"dap": {"label_max_g_l": 5}, "scale": "0.001 g"}),
        "everything_at_pitch",
    )
    grams = plan.feeds[0].items[0].grams.value
    assert grams > 0.5
    per_gram = plan.nitrogen.added_ammonium_mg_l.value / (grams / setting.must.volume_l.value)
    assert per_gram == pytest.approx(212, abs=0.5)


def onset_and_third(brix: str):
    return feeding(sheet(brix, "1 US gal", shelf=ENDLESS), "organic_at_onset_complex_at_third")


def test_onset_and_third_gives_its_stated_rates_at_24_brix():
    plan, _ = onset_and_third("24 Bx")
    onset, third = plan.feeds
    assert [item.nutrient for item in onset.items] == ["autolysed_yeast"]
    assert [item.nutrient for item in third.items] == ["complex_blend"]
    assert onset.items[0].grams.value == pytest.approx(1.5, abs=0.005)
    assert 1.5 <= third.items[0].grams.value <= 2


@pytest.mark.parametrize("brix", ["12 Bx", "18 Bx", "21 Bx", "28 Bx", "32 Bx"])
def test_onset_and_third_scales_with_sugar(brix):
    at_24, sugar_24 = onset_and_third("24 Bx")
    here, sugar = onset_and_third(brix)
    ratio = sugar.must.sugar_g_l.value / sugar_24.must.sugar_g_l.value
    for ours, stated in zip(here.feeds, at_24.feeds, strict=True):
        grams = stated.items[0].grams.value * ratio
        assert ours.items[0].grams.value == pytest.approx(grams, abs=0.0011)


def test_onset_and_third_falls_far_short_on_plain_honey_and_the_comparison_says_so():
    comparison = compare(text_of())
    i = [p.protocol for p in comparison.plans].index("organic_at_onset_complex_at_third")
    nitrogen = comparison.plans[i].nitrogen
    assert comparison.must.sugar_g_l.value == pytest.approx(264, abs=0.5)
    assert nitrogen.demand_mg_l.value == pytest.approx(198, abs=0.5)
    brought = nitrogen.added_mg_l.value + nitrogen.rehydration_mg_l.value
    assert brought == pytest.approx(80, abs=10)
    assert nitrogen.short_mg_l.value == pytest.approx(110, abs=10)
    against = " ".join(comparison.verdicts[i].against)
    assert f"{nitrogen.short_mg_l.value:.0f} mg N/L short of the 198 needed" in against
    assert comparison.suits_best != "organic_at_onset_complex_at_third"


def test_raisins_are_no_nutrient():
    with_raisins = ground(sheet(volume="10 L", more=({"kind": "raisins", "amount": "300 g"},)))
    parts = with_raisins.setting.credit.nitrogen_mg_l
    raisins = sum(
        kind.inputs["raisins"].value  # type: ignore[union-attr]
        for kind in parts.inputs.values()
        if isinstance(kind, Figure)
    )
    assert raisins == pytest.approx(10, abs=3)
    assert raisins < 15


@pytest.mark.parametrize("gravity", ["1.060", "1.090", "1.110", "1.140"])
@pytest.mark.parametrize(
    "shelf",
    [
        {"dap": True},
        {"dap": True, "ammonium_sulfate": True},
        {"dap": True, "autolysed_yeast": True},
        {"dap": {"price_per_kg": 1}, "complex_blend": {"price_per_kg": 90}},
    ],
)
def test_last_feed_of_the_thirds_is_never_an_ammonium_salt(gravity, shelf):
    plan, setting = feeding(sheet(gravity, shelf=shelf), "thirds_on_days_0_2_4")
    assert [feed.expected_h.value for feed in plan.feeds] == [0, 48, 96]
    groups = {jar.id: jar.group for jar in setting.jars}
    assert "ammonium" in {groups[i.nutrient] for feed in plan.feeds[:2] for i in feed.items}
    assert "ammonium" not in {groups[item.nutrient] for item in plan.feeds[-1].items}


@pytest.mark.parametrize("alcohol", ["3 %", "5.5 %", "7 %", "7.9 %"])
def test_a_must_below_8_percent_gets_one_front_load(alcohol):
    result = plan(text_of(volume="19 L", alcohol=alcohol))
    fed = [feed for feed in result.plan.feeds if feed.items]
    assert result.must.potential_alcohol_pct.value < 8
    assert len(fed) == 1
    assert fed[0].expected_h.value <= 24
    first = max(fed[0].items, key=lambda item: item.grams.value)
    amino = generic_nutrients()[first.nutrient].per_gram("amino_n")
    assert amino > 0


def test_above_1_100_two_or_three_feeds_or_more():
    for gravity in ("1.105", "1.120", "1.140"):
        result = plan(text_of(gravity, "19 L"))
        assert len([feed for feed in result.plan.feeds if feed.items]) >= 2


@pytest.mark.parametrize(
    ("profile", "substance", "g_l", "mg_n_l"),
    [("us", "ammonium_phosphate", 0.96, 203), ("eu", "total_ammonium_salts", 1.0, 212)],
)
def test_legal_limit_of_ammonium_phosphate_as_nitrogen(profile, substance, g_l, mg_n_l):
    limit = next(x for x in legal_profile(profile).limits if x.substance == substance)
    assert limit.max_g_l == pytest.approx(g_l)
    dap = generic_nutrients()["dap"].per_gram("ammonium_n")
    assert limit.max_g_l * dap == pytest.approx(mg_n_l, abs=1)
    assert limit.source


def test_eight_pounds_in_a_thousand_gallons_is_the_us_limit():
    g_l = 8 * 453.59237 / (1000 * 3.785411784)
    assert g_l == pytest.approx(0.96, abs=0.002)


def test_rules_of_the_trade_are_marked_as_such():
    assert built_in_protocols()["thirds_on_days_0_2_4"].source == COMMON_PRACTICE
    assert built_in_protocols()["organic_at_onset_complex_at_third"].source == COMMON_PRACTICE
    assert demand_rule("strain").source == COMMON_PRACTICE
