"""The way from a sheet to a plan: alcohol solved for, measured musts, cautions, the choice."""

import re

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from cases import cases
from musts import ground, protocol, sheet
from mustwright.errors import ImpossibleError, InputError, UnknownKindError
from mustwright.finishing.law import finishing_law
from mustwright.nutrition.limits import legal_profiles
from mustwright.nutrition.protocols import built_in_protocols
from mustwright.nutrition.shelf import generic_nutrients
from mustwright.planning.plan import compare, plan

HEAD = '[must]\nvolume = "{volume}"\n{aim}\n'
HONEY = '[[must.ingredient]]\nkind = "honey"\namount = "{honey}"\n'
FILL = '[[must.ingredient]]\nkind = "{fill}"\namount = "fill"\n'


def text(aim, honey="solve", fill="water", volume="10 L", more=""):
    return (
        HEAD.format(volume=volume, aim=aim)
        + HONEY.format(honey=honey)
        + FILL.format(fill=fill)
        + more
    )


def alcohol(value, finish=None):
    return f'alcohol = "{value:.6f} %"' + (f'\nfinish = "{finish}"' if finish else "")


# Alcohol -------------------------------------------------------------------------------------


@cases(20)
@given(st.floats(1, 20))
def test_the_alcohol_asked_for_is_the_potential_of_the_must(value):
    laid = ground_of(alcohol(value))
    assert laid.potential_alcohol_pct.value == pytest.approx(value, abs=1e-6)


def ground_of(aim, **more):
    from mustwright.planning.must_setup import lay_ground
    from mustwright.planning.sheet import read_sheet

    return lay_ground(read_sheet(text(aim, **more))).must


@cases(20)
@given(st.floats(4, 16), st.floats(1.0, 1.04))
def test_a_sweet_finish_asks_for_more_honey(value, finish):
    dry, sweet = ground_of(alcohol(value)), ground_of(alcohol(value, f"{finish:.4f}"))
    assert sweet.gravity.value > dry.gravity.value
    assert sweet.ingredients[0].kg.value > dry.ingredients[0].kg.value
    assert sweet.potential_alcohol_pct.value > value


def test_fourteen_percent_at_1_020_by_hand():
    """Balling's relations (from memory), p Brix before and 5.07 Brix apparent (1.020) after.

    Real extract n = 0.1808 p + 0.8192 x 5.07; alcohol by mass (p - n) / (2.0665 - 0.010665 p);
    by volume that times the density over 0.78924 kg/L.
    """
    must = ground_of(alcohol(14, "1.020"))
    before = must.brix.value
    real = 0.1808 * before + 0.8192 * 5.07
    by_mass = (before - real) / (2.0665 - 0.010665 * before)
    assert by_mass * 1.020 * 0.9982 / 0.78924 == pytest.approx(14, abs=0.3)
    result = plan(text(alcohol(14, "1.020")))
    assert any("only if the yeast stops there or you stop it" in w for w in result.warnings)


def test_alcohol_is_reached_in_juice_sweeter_than_the_least_must():
    """Juice alone has more sugar than the search starts from: it is no reason to refuse."""
    must = ground_of(alcohol(12), fill="apple juice")
    assert must.potential_alcohol_pct.value == pytest.approx(12, abs=1e-6)


@pytest.mark.parametrize(
    ("aim", "more", "words"),
    [
        (alcohol(3), {"fill": "apple juice"}, "at least 6.1 %"),
        (alcohol(20), {"honey": "1 kg"}, "at most 4."),
        (alcohol(2), {"honey": "3 kg"}, "at least 13."),
        (alcohol(5, "0.989"), {}, "lowest is 0.99"),
    ],
)
def test_alcohol_out_of_reach_says_what_can_be_had(aim, more, words):
    with pytest.raises(ImpossibleError) as error:
        plan(text(aim, **more))
    assert words in str(error.value)
    assert error.value.field in ("must.alcohol", "must.finish")


def test_typed_amounts_that_give_the_alcohol_are_taken():
    must = ground_of(alcohol(13.7), honey="3 kg")
    assert must.volume_l.value == pytest.approx(10)


# Must ----------------------------------------------------------------------------------------


def test_a_measured_gravity_replaces_the_reckoned_and_says_so():
    laid = ground(sheet("1.100", measured={"gravity": "1.090"}))
    must = laid.must
    assert must.gravity.value == pytest.approx(1.09, abs=1e-6)
    low, value, high = (
        getattr(must.potential_alcohol_pct, part) for part in ("low", "value", "high")
    )
    assert low < value < high
    lower = ground(sheet("1.090")).must
    assert value == pytest.approx(lower.potential_alcohol_pct.value, abs=0.05)
    assert must.dry_gravity.value == pytest.approx(lower.dry_gravity.value, abs=5e-4)
    assert any("2.2 Brix below" in w for w in laid.warnings)


def test_later_fruit_is_listed_but_not_in_the_must():
    late = {"kind": "raspberries", "amount": "2 kg", "stage": "secondary"}
    plain, later = ground(sheet()).must, ground(sheet(more=(late,))).must
    assert later.gravity.value == pytest.approx(plain.gravity.value)
    assert later.volume_l.value == pytest.approx(plain.volume_l.value)
    assert [line.stage for line in later.ingredients] == ["primary", "secondary", "primary"]


def test_two_lots_of_one_honey_stay_two_lines():
    content = sheet(more=({"kind": "honey", "amount": "1 kg"}, {"kind": "water", "amount": "2 L"}))
    kg = [line.kg.value for line in ground(content).must.ingredients]
    assert kg[1] == 1
    assert kg[0] > 3
    assert kg[2] == pytest.approx(2, rel=0.01)


@pytest.mark.parametrize("volume", ["0.9 L", "1000 L", "10000 L"])
def test_any_volume(volume):
    result = plan(text('gravity = "1.100"', volume=volume))
    assert result.must.volume_l.value == pytest.approx(float(volume.split()[0]))
    assert result.plan.nitrogen.short_mg_l.value < 20


def test_a_must_beyond_the_tables_says_so_and_raises_no_stray_warning():
    result = plan(text('gravity = "1.200"'))
    assert any("25 % vol" in w for w in result.warnings)


# Rehydration within its limits ---------------------------------------------------------------


def pitch_of(shelf, **tables):
    laid = ground(sheet(shelf=shelf, yeast={"amount": "10 g"}, **tables))
    return laid.setting.pitch.rehydration_nutrient_g.value, " ".join(laid.warnings)


def test_rehydration_is_held_to_the_stock():
    grams, said = pitch_of({"rehydration_nutrient": "4 g"})
    assert grams == 4
    assert "12.5 g of rehydration nutrient are needed, but the shelf holds 4 g" in said


def test_rehydration_is_held_to_a_typed_label():
    grams, said = pitch_of({"rehydration_nutrient": {"label_max_g_l": 0.3}})
    assert grams == pytest.approx(0.3 * 19)
    assert "allows 0.3 g/L" in said


def test_rehydration_is_held_to_the_law():
    jar = {"contains": {"yeast_cell_walls": 1.0}}
    grams, said = pitch_of({"rehydration_nutrient": jar}, legal={"profile": "us"})
    assert grams == pytest.approx(0.36 * 19, rel=0.01)
    assert "yeast hulls (cell walls)" in said


def test_rehydration_stays_within_a_usual_label_like_the_rest():
    """It was given 12.5 g in 19 L and said to be above what labels usually allow."""
    grams, said = pitch_of({"rehydration_nutrient": True})
    assert grams == pytest.approx(0.45 * 19, rel=1e-3)
    assert "12.5 g of rehydration nutrient are needed, but the usual label" in said


# What it costs, and what the law does not list ------------------------------------------------


PRICED = {
    "dap": {"price_per_kg": 10}, "autolysed_yeast": {"price_per_kg": 40},
    "rehydration_nutrient": {"price_per_kg": 50},
}  # fmt: skip


def test_the_whole_batch_is_priced():
    content = sheet(shelf=PRICED, yeast={"amount": "10 g", "price_per_kg": 200})
    content["must"]["ingredient"][0]["price_per_kg"] = 8
    result = plan(tomlkit.dumps(content))
    honey = result.must.ingredients[0].kg.value * 8
    waking = result.pitch.rehydration_nutrient_g.value * 0.05
    feeds = sum(
        item.grams.value * PRICED[item.nutrient]["price_per_kg"] / 1000
        for feed in result.plan.feeds
        for item in feed.items
    )
    assert result.cost.batch.value == pytest.approx(honey + 2.0 + waking + feeds)
    assert result.plan.cost.value == pytest.approx(waking + feeds)
    assert result.cost.per_litre.value == pytest.approx(result.cost.batch.value / 19, rel=1e-3)
    assert result.cost.per_bottle.value == pytest.approx(0.75 * result.cost.per_litre.value)
    assert not result.cost.not_priced


def test_what_has_no_price_is_named():
    result = plan(tomlkit.dumps(sheet(shelf=PRICED, yeast={"amount": "10 g"})))
    assert "yeast" in result.cost.not_priced
    assert len(result.cost.not_priced) == 2
    assert "at least" in result.cost.words
    assert "no price was typed for" in result.cost.words


MINERAL = {"dap": True, "autolysed_yeast": True, "magnesium_sulfate": True}


@pytest.mark.parametrize(
    ("law", "praise", "said"),
    [
        ("eu", "not listed by it", "national law decides"),
        ("us", "stays within the figures of", "listed since 2022"),
    ],
)
def test_a_plan_with_an_unlisted_product_is_not_praised_as_lawful(law, praise, said):
    result = plan(tomlkit.dumps(sheet(shelf=MINERAL, legal={"profile": law})))
    assert "magnesium_sulfate" in result.plan.products
    reasons = " ".join((*result.verdict.reasons, *result.verdict.against))
    assert "every legal" not in reasons
    assert "every label" not in reasons  # none was typed
    assert praise in reasons
    assert ("not listed by it" in reasons) == (law == "eu")
    assert any(w.startswith("Magnesium sulfate") and said in w for w in result.warnings)


def test_zinc_is_not_in_the_us_table():
    profile = legal_profiles()["us"]
    standing = profile.standing_of(generic_nutrients()["zinc_sulfate"])
    assert not standing.listed
    assert "ask before use" in standing.words
    assert profile.standing_of(generic_nutrients()["dap"]) is None


@pytest.mark.parametrize("law", ["home", "us", "eu"])
def test_every_profile_says_when_it_was_last_compared(law):
    assert re.search(r"last compared \d+ \w+ 20\d\d$", legal_profiles()[law].edition)
    assert finishing_law(law).edition == legal_profiles()[law].edition


def test_ammonium_never_goes_into_the_water():
    grams, said = pitch_of({"rehydration_nutrient": {"ammonium_n_mg_g": 10}})
    assert grams == 0
    assert "not used in the rehydration water" in said


@pytest.mark.parametrize(
    ("tables", "words"),
    [
        ({"yeast": {"amount": "0.5 g"}}, "a slow start"),
        ({"yeast": {"amount": "500 g"}}, "far above the usual"),
        ({"temperature": "38 C"}, "outside the usual 12 to 26 °C"),
        ({"yeast": {"kind": "ale"}}, "usually reaches"),
    ],
)
def test_cautions(tables, words):
    assert any(words in w for w in ground(sheet(**tables)).warnings)


def test_above_30_brix_is_a_risk():
    assert any("Above 30 Brix" in w for w in ground(sheet("1.140")).warnings)


@pytest.mark.parametrize(
    ("gravity", "words"), [("1.130", "at most 14 % vol"), ("1.040", "13 Brix")]
)
def test_the_legal_class_of_honey_wine(gravity, words):
    laid = ground(sheet(gravity, legal={"profile": "us"}))
    assert any(words in w and "CFR24203" in w for w in laid.warnings)
    assert not any(
        "CFR24203" in w for w in ground(sheet("1.090", legal={"profile": "us"})).warnings
    )


# The choice ----------------------------------------------------------------------------------


def test_plan_picks_what_compare_suits_best():
    sheet_text = text('gravity = "1.110"')
    chosen, compared = plan(sheet_text), compare(sheet_text)
    assert chosen.chosen
    assert chosen.plan.protocol == compared.suits_best
    assert len(compared.plans) == len(built_in_protocols())
    named = plan(sheet_text, compared.suits_best)
    assert not named.chosen
    assert named.plan == chosen.plan


def test_compare_takes_the_named_and_the_own():
    own = {"two_halves": protocol()}
    result = compare(text('gravity = "1.1"'), ["two_halves", "everything_at_pitch"], own)
    assert [p.protocol for p in result.plans] == ["two_halves", "everything_at_pitch"]
    everything = compare(text('gravity = "1.1"'), None, own)
    assert everything.plans[-1].protocol == "two_halves"


def test_an_unknown_protocol_lists_the_known():
    with pytest.raises(UnknownKindError, match="halves_at_onset_and_third"):
        plan(text('gravity = "1.1"'), "by_moon")


def test_comparing_nothing_is_refused():
    with pytest.raises(InputError, match="at least one protocol"):
        compare(text('gravity = "1.1"'), [])
