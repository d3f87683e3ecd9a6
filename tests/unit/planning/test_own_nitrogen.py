"""What a must brings itself: wort needs no feed, juice less, and the comparison says so."""

from __future__ import annotations

import pytest
import tomlkit

from musts import sheet
from mustwright.nutrition.choose import falls_short
from mustwright.planning.own_nitrogen import own_nitrogen
from mustwright.planning.plan import compare
from mustwright.planning.plan_forecast import foresee_comparison
from mustwright.planning.plan_json import comparison_data

pytestmark = pytest.mark.usefixtures("forecasts")
NO_FEED = "no_feed"
CHOSEN = [NO_FEED, "reduced_for_juice", "halves_at_onset_and_third", "label_rate_days_1_2_3"]
SHELF = {"dap": True, "autolysed_yeast": True}


def juice(kind, **tables):
    must = {"volume": "20 L", "ingredient": [{"kind": kind, "amount": "20 L"}]}
    return tomlkit.dumps({"must": must, "shelf": SHELF, **tables})


def test_a_wort_that_brings_enough_is_told_so_and_gets_no_feed():
    found = foresee_comparison(compare(juice("all malt wort"), CHOSEN), 128)
    assert found.suits_best == NO_FEED
    pick = found.of(NO_FEED)
    assert not any(feed.items for feed in pick.plan.feeds)
    assert not falls_short(pick.plan)
    assert "no feed is needed" in own_nitrogen(found.ground)
    assert pick.verdict.reasons[0].startswith("the must brings 180 of the")
    assert pick.plan.salt is None or pick.plan.salt.parts
    assert comparison_data(found)["own_nitrogen"] == own_nitrogen(found.ground)


def test_a_juice_is_fed_what_it_lacks_and_no_more():
    found = compare(juice("apple juice"), CHOSEN)
    said = own_nitrogen(found.ground)
    assert "it lacks" in said
    assert "Measure its nitrogen (YAN)" in said
    reduced = found.of("reduced_for_juice").plan
    nitrogen = reduced.nitrogen
    assert 0 < nitrogen.added_mg_l.value < nitrogen.demand_mg_l.value
    assert nitrogen.total_mg_l.value == pytest.approx(nitrogen.demand_mg_l.value, abs=1)
    assert falls_short(found.of(NO_FEED).plan)
    assert found.suits_best != NO_FEED


def test_measured_nitrogen_settles_it():
    enough = own_nitrogen(compare(juice("apple juice", measured={"yan_mg_l": 250}), CHOSEN).ground)
    assert enough.startswith("This must brings 250 mg N/L of its own, all of the")
    lacking = own_nitrogen(compare(juice("apple juice", measured={"yan_mg_l": 60}), CHOSEN).ground)
    assert "it lacks" in lacking
    assert "Measure" not in lacking


def test_a_plain_honey_must_is_never_left_unfed_and_nothing_is_said():
    found = compare(tomlkit.dumps(sheet("1.100", "20 L", shelf=SHELF)), CHOSEN)
    assert own_nitrogen(found.ground) == ""
    assert falls_short(found.of(NO_FEED).plan)
    assert found.suits_best != NO_FEED


def test_a_wort_that_lacks_nitrogen_is_not_left_unfed_where_a_little_can_be_given():
    shelf = {"autolysed_yeast": {"label_max_g_l": 0.4}}
    must = {
        "volume": "20 L", "gravity": "1.090",
        "ingredient": [{"kind": "honey", "amount": "solve"},
                       {"kind": "all malt wort", "amount": "fill"}],
    }  # fmt: skip
    text = tomlkit.dumps({"must": must, "yeast": {"kind": "ale-type"}, "shelf": shelf})
    found = compare(text, CHOSEN)
    assert all(falls_short(one) for one in found.plans)
    assert found.suits_best != NO_FEED
