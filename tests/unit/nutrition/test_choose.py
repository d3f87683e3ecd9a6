"""The choice between protocols: each suits the must it was made for, and none where it is unfit."""

import pytest

from musts import sheet
from mustwright.nutrition.choose import UNFIT, WEIGHTS, best
from mustwright.nutrition.protocols import built_in_protocols
from mustwright.planning.must_setup import lay_ground
from mustwright.planning.plan import _compare
from mustwright.planning.sheet import sheet_from

FRUIT = ({"kind": "raspberries", "amount": "4 kg"},)
PLENTY = {"autolysed_yeast": {"label_max_g_l": 3.0}, "dap": True, "complex_blend": True}


def suits_best(gravity, shelf=None, more=(), **tables):
    content = sheet(gravity, "20 L", more=more, shelf=shelf or {}, **tables)
    return _compare(lay_ground(sheet_from(content)), list(built_in_protocols().values()))


@pytest.mark.parametrize(
    ("identity", "gravity", "shelf", "more"),
    [
        ("one_front_load_for_weak_musts", "1.030", None, ()),
        ("everything_at_pitch", "1.060", {"dap": True}, ()),
        ("halves_at_onset_and_third", "1.100", None, ()),
        ("staged_for_strong_musts", "1.140", PLENTY, ()),
        ("two_feeds_for_fruit", "1.090", PLENTY, FRUIT),
        ("organic_only_by_sugar", "1.100", {"autolysed_yeast": {"label_max_g_l": 5.0}}, ()),
    ],
)
def test_each_suits_the_must_it_was_made_for(identity, gravity, shelf, more):
    assert suits_best(gravity, shelf, more).suits_best == identity


@pytest.mark.parametrize("gravity", ["1.130", "1.140", "1.155", "1.170"])
@pytest.mark.parametrize(
    "shelf",
    [None, PLENTY, {"dap": True}, {"dap": True, "autolysed_yeast": True}, {"complex_blend": True}],
)
@pytest.mark.parametrize("profile", ["us", "home"])
def test_a_strong_must_never_gets_everything_at_pitch(gravity, shelf, profile):
    chosen = suits_best(gravity, shelf, legal={"profile": profile}).suits_best
    assert chosen not in ("everything_at_pitch", "one_front_load_for_weak_musts")


@pytest.mark.parametrize("gravity", ["1.070", "1.090", "1.110"])
def test_a_fruit_must_prefers_two_feeds_where_they_can_be_made(gravity):
    comparison = suits_best(gravity, PLENTY, FRUIT)
    plans = {p.protocol: p for p in comparison.plans}
    assert plans["two_feeds_for_fruit"].feasible
    assert comparison.suits_best == "two_feeds_for_fruit"


@pytest.mark.parametrize("gravity", ["1.070", "1.090", "1.110"])
def test_a_plain_must_does_not_get_the_feeds_for_fruit(gravity):
    assert suits_best(gravity, PLENTY).suits_best != "two_feeds_for_fruit"


@pytest.mark.parametrize(("kg", "is_fruit"), [("0.3 kg", False), ("3 kg", True)])
def test_a_handful_of_raisins_makes_no_fruit_must(kg, is_fruit):
    content = sheet("1.100", "10 L", more=({"kind": "raisins", "amount": kg},))
    assert lay_ground(sheet_from(content)).fruit is is_fruit


def test_a_missing_nutrient_counts_against_and_is_said():
    comparison = suits_best("1.090", {"dap": True})
    by_id = dict(zip([p.protocol for p in comparison.plans], comparison.verdicts, strict=True))
    organic = by_id["organic_only_by_sugar"]
    assert any("the shelf has none" in reason for reason in organic.against)
    assert organic.points < by_id[comparison.suits_best].points - 20


def test_points_follow_from_marks_and_weights():
    comparison = suits_best("1.110")
    for verdict in comparison.verdicts:
        assert set(verdict.marks) == set(WEIGHTS)
        assert all(0 <= mark <= 1 for mark in verdict.marks.values())
        points = sum(WEIGHTS[k] * m for k, m in verdict.marks.items()) / sum(WEIGHTS.values())
        if verdict.marks["made for this gravity"] == 0:
            points *= UNFIT
        assert verdict.points == pytest.approx(100 * points, abs=0.051)
    top = comparison.verdicts[best(comparison.verdicts)]
    assert top.points == max(v.points for v in comparison.verdicts)
    assert top.reasons


def test_of_equals_the_first():
    comparison = suits_best("1.110")
    twice = [comparison.verdicts[0], comparison.verdicts[0]]
    assert best(twice) == 0
