"""What a profile lets go by the name of still or honey wine, and how it is taxed."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mustwright.errors import ImpossibleError
from mustwright.finishing.blending import blend_lots
from mustwright.finishing.bottling import bottle
from mustwright.finishing.carbonate import CarbonateAsk, carbonate
from mustwright.finishing.class_line import solids_brix
from mustwright.finishing.label_facts import BottleAsk, Size, label_alcohol
from mustwright.finishing.law import finishing_law
from mustwright.finishing.liquid import mead
from mustwright.finishing.lots import BlendTarget, Lot
from mustwright.finishing.movement import GravityReading
from mustwright.finishing.priming import sugar_called
from mustwright.finishing.stability import StabilityAsk, judge_stability
from mustwright.finishing.sweeten import SweetenAsk, sweeten
from mustwright.must.ingredient import ingredient_called

HOME, US, EU = (finishing_law(name) for name in ("home", "us", "eu"))
DAY = date(2026, 3, 1)


def ask(**more):
    return BottleAsk(10, [Size(0.75)], DAY, **more)


@given(st.floats(0.5, 24))
def test_a_us_label_stands_on_the_true_side_of_every_line(alcohol):
    figure = label_alcohol(alcohol, US)
    for line in US.label.never_across_pct:
        assert (figure.value > line) == (alcohol > line)
        assert (figure.high <= line) if alcohol <= line else (figure.low >= line)
    wide = figure.high - figure.low
    assert wide <= (2.0 if figure.value > 14 else 3.0) + 1e-9


def test_tolerance_is_narrower_above_fourteen():
    assert label_alcohol(12.0, US).high == pytest.approx(13.5)
    assert label_alcohol(15.0, US).low == pytest.approx(14.0)
    assert label_alcohol(15.0, US).high == pytest.approx(16.0)
    assert label_alcohol(15.5, US).high == pytest.approx(16.0)


@pytest.mark.parametrize(
    ("alcohol", "words"),
    [(13.0, "up to 16 % vol"), (14.5, "up to 16 % vol"), (16.1, "above 16, up to 21")],
)
def test_tax_class_by_alcohol(alcohol, words):
    assert words in bottle(ask(alcohol_pct=alcohol), US).tax_class


def test_tax_class_where_the_profile_has_none_or_alcohol_is_unknown():
    assert bottle(ask(alcohol_pct=12.0), EU).tax_class == ""
    assert bottle(ask(), US).tax_class == ""
    sparkling = bottle(ask(alcohol_pct=12.0, sparkling=True, co2_g_l=8.0), US).tax_class
    assert sparkling.startswith("sparkling or artificially carbonated")


def sweet(to, law, gravity=1.120, alcohol=8.0):
    honey, _ = ingredient_called("clover honey", "with")
    return sweeten(SweetenAsk(10, gravity, alcohol, honey, to_gravity=to), law)


def test_no_step_passes_35_brix_of_solids_in_the_us_alone():
    assert solids_brix(mead(1.0, sweet(1.135, US).new_gravity.value, 7.8)) < 35
    with pytest.raises(ImpossibleError, match="35 Brix") as caught:
        sweet(1.150, US)
    for words in ("CFR24203 (2005)", "no honey wine any more", "CFR436 4.21, from memory"):
        assert words in str(caught.value)
    assert caught.value.field == "to"
    assert sweet(1.150, EU).ready is sweet(1.150, HOME).ready


@given(st.floats(1.121, 1.16))
def test_the_line_of_solids_is_where_the_data_say(to):
    after = sweet(to, HOME)
    made = mead(after.new_volume_l.value, after.new_gravity.value, after.new_alcohol_pct.value)
    try:
        sweet(to, US)
        passed = True
    except ImpossibleError:
        passed = False
    assert passed == (solids_brix(made) <= US.at_every_step("solids_after").high)


def test_a_blend_keeps_the_same_line():
    lots = [Lot("thick", 5, 6.0, 1.190), Lot("thin", 5, 12.0, 1.100)]
    target = [BlendTarget("alcohol", 7.0, 7.0)]
    with pytest.raises(ImpossibleError, match="35 Brix"):
        blend_lots(lots, target, US)
    assert blend_lots(lots, target, EU).volume_l.value > 1
    assert blend_lots(lots, [BlendTarget("alcohol", 11.0, 11.0)], US).volume_l.value > 1


def primed(bar, law=EU, **more):
    ask = CarbonateAsk(10, [20.0], gauge_bar_20c=bar, alcohol_pct=12.0,
                       sugar=sugar_called("sucrose"), **more)  # fmt: skip
    return carbonate(ask, law)


@pytest.mark.parametrize(
    ("asked", "sparkling", "made", "name"),
    [
        (0.6, False, 0.49, "still"),
        (0.6, True, 1.01, "semi-sparkling"),
        (0.9, False, 1.01, "semi-sparkling"),
        (2.6, False, 2.49, "semi-sparkling"),
        (2.6, True, 3.01, "sparkling"),
        (2.8, False, 3.01, "sparkling"),
    ],
)
def test_a_sparkle_between_two_classes_is_moved_into_one_and_said(asked, sparkling, made, name):
    found = primed(asked, sparkling=sparkling)
    assert found.pressure_bar_20c.value == pytest.approx(made, abs=1e-6)
    assert found.legal_class.startswith(name)
    assert f"moved to {made:.2f} bar: {name}" in found.recorded.notes[0]
    assert found.sugar_g.value == pytest.approx(primed(made).sugar_g.value)


@given(st.floats(0.05, 5.0), st.booleans())
def test_no_plan_lies_between_two_classes(bar, sparkling):
    found = primed(bar, sparkling=sparkling)
    assert not found.legal_class.startswith("between")
    if primed(bar, HOME).pressure_bar_20c.value != pytest.approx(found.pressure_bar_20c.value):
        assert "moved to" in found.recorded.notes[0]


def test_what_lies_in_a_class_or_under_no_such_law_is_left_alone():
    for bar, law in ((0.4, EU), (2.0, EU), (3.4, EU), (2.7, HOME)):
        assert primed(bar, law).pressure_bar_20c.value == pytest.approx(bar, abs=1e-6)


def test_a_bottle_that_does_not_bear_the_livelier_class_is_refused():
    with pytest.raises(ImpossibleError, match="holds"):
        primed(2.8, container="beer")


@pytest.mark.parametrize("gravity", [1.0, 1.02, 1.098, 1.1, 1.15])
def test_a_must_that_has_not_begun_can_be_judged(gravity):
    readings = [GravityReading(day, gravity) for day in (0, 7, 14)]
    found = judge_stability(StabilityAsk(readings, original_gravity=gravity))
    assert found.alcohol_pct.value == pytest.approx(0.0, abs=1e-5)  # gravity is inverted to 1e-8
    above = StabilityAsk([GravityReading(d, gravity + 2e-4) for d in (0, 7)],
                         original_gravity=gravity)  # fmt: skip
    with pytest.raises(ImpossibleError):
        judge_stability(above)


def test_honey_wine_above_fourteen_is_refused_in_the_us_alone():
    with pytest.raises(ImpossibleError, match="14 % vol") as caught:
        bottle(ask(alcohol_pct=14.2, kind="Honey Wine"), US)
    assert caught.value.field == "kind"
    assert bottle(ask(alcohol_pct=14.0, kind="honey wine"), US).labels
    assert bottle(ask(alcohol_pct=14.2, kind="honey wine"), HOME).labels
    assert any("no honey wine" in n for n in bottle(ask(alcohol_pct=14.2), US).recorded.notes)


@pytest.mark.parametrize(("law", "grams"), [(US, 3.93), (EU, 2.6)], ids=["us", "eu"])
def test_too_much_gas_for_still_is_refused(law, grams):
    with pytest.raises(ImpossibleError, match="still drink") as caught:
        bottle(ask(alcohol_pct=12.0, co2_g_l=grams), law)
    assert caught.value.field == "co2"
    assert bottle(ask(alcohol_pct=12.0, co2_g_l=grams, sparkling=True), law).labels
    assert bottle(ask(alcohol_pct=12.0, co2_g_l=grams), HOME).labels
    assert bottle(ask(alcohol_pct=12.0, co2_g_l=1.2), law).labels


def sparkle(grams, **more):
    return CarbonateAsk(
        19, [20.0], co2_g_l=grams, alcohol_pct=12.0, sugar=sugar_called("sucrose"), **more
    )


@given(st.floats(1.6, 12))
def test_a_us_drink_is_not_primed_past_still_unless_meant(grams):
    if grams > 3.92:
        with pytest.raises(ImpossibleError, match=r"3\.92 g/L"):
            carbonate(sparkle(grams), US)
        assert carbonate(sparkle(grams, sparkling=True), US).legal_class.startswith("above")
    else:
        assert carbonate(sparkle(grams), US).legal_class.startswith("still")


@pytest.mark.parametrize(
    "more",
    [
        {"sparkling": True, "container": "wine"},
        {"sparkling": True, "container": "wine", "co2_g_l": 8.0},
        {"co2_g_l": 8.0, "container": "beer"},
        {"co2_g_l": 8.0, "limit_bar": 3.0},
    ],
)
def test_a_bottle_named_by_hand_bears_its_gas_as_carbonate_has_it(more):
    with pytest.raises(ImpossibleError) as told:
        bottle(ask(alcohol_pct=12.0, **more), HOME)
    assert told.value.field == "bottle"


def test_glass_that_bears_it_or_a_still_mead_is_bottled():
    for more in (
        {"sparkling": True, "container": "sparkling", "co2_g_l": 5.0},
        {"sparkling": True, "container": "beer"},
        {"container": "wine", "co2_g_l": 1.0},
        {"container": "wine"},
    ):
        assert bottle(ask(alcohol_pct=12.0, **more), HOME).bottle_count.value > 0


def test_sugar_over_live_yeast_is_not_bottled_by_hand_either():
    with pytest.raises(ImpossibleError) as told:
        bottle(ask(stabilised="no", sugar_g_l=20.0), HOME)
    assert told.value.field == "stabilised"
    assert bottle(ask(stabilised="no", sugar_g_l=1.0), HOME).bottle_count.value > 0
    assert bottle(ask(stabilised="pasteurised", sugar_g_l=20.0), HOME).bottle_count.value > 0
