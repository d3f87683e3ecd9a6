"""The blend programme: hand-worked optima, and what it says when it cannot."""

import re

import numpy as np
import pytest

from musts import feeding, protocol, protocol_data, sheet
from mustwright.figure import TYPED, Figure
from mustwright.nutrition.programme import (
    Ceiling,
    DosingProblem,
    FeedAsk,
    binding,
    ceilings_of,
    shortfall,
    solve,
)
from mustwright.nutrition.rounding import round_to_scale
from mustwright.nutrition.shelf import Nutrient


def jar(name, ammonium=0.0, amino=0.0, price=None, **more):
    figures = {
        f"{kind}_n_mg_g": Figure(value, "mg/g", "typed", TYPED)
        for kind, value in (("ammonium", ammonium), ("amino", amino))
    }
    for what in ("magnesium",):
        if what in more:
            figures[f"{what}_mg_g"] = Figure(more.pop(what), "mg/g", "typed", TYPED)
    group = "mineral" if ammonium + amino == 0 else "ammonium" if amino == 0 else "organic"
    label = more.pop("label", None)
    return Nutrient(
        name, name, name, group, "ferment", figures, price_per_kg=price,
        label_max_g_l=None if label is None else Figure(label, "g/L", "typed", TYPED), **more,
    )  # fmt: skip


SALT = jar("salt", ammonium=200, price=10)
YEAST = jar("yeast", amino=50, price=40)


def problem(jars, feeds, ceilings=(), share=1.0, wants=None):
    return DosingProblem(tuple(jars), tuple(feeds), tuple(ceilings), share, wants or {})


def test_the_cheapest_nitrogen_wins():
    """100 mg N/L: salt costs 0.5 g/L x 10, yeast 2 g/L x 40; all salt."""
    found = solve(problem([SALT, YEAST], [FeedAsk(100, (0, 1))]))
    assert found.grams_l == pytest.approx(np.array([[0.5, 0.0]]), abs=1e-5)
    assert found.feasible


def test_a_share_of_ammonium_is_kept():
    """At most 60 % ammonium of 100 mg N/L: 0.3 g/L salt, 0.8 g/L yeast."""
    found = solve(problem([SALT, YEAST], [FeedAsk(100, (0, 1))], share=0.6))
    assert found.grams_l == pytest.approx(np.array([[0.3, 0.8]]), abs=1e-4)


def test_a_share_of_one_feed_is_kept():
    asks = [FeedAsk(60, (0, 1), 0.5), FeedAsk(40, (0, 1))]
    found = solve(problem([SALT, YEAST], asks))
    assert found.grams_l == pytest.approx(np.array([[0.15, 0.6], [0.2, 0.0]]), abs=1e-4)


def test_an_uptake_weight_counts():
    weighty = jar("weighty", amino=50, price=1, uptake_weight=2.0)
    found = solve(problem([weighty], [FeedAsk(100, (0,))]))
    assert found.grams_l[0, 0] == pytest.approx(1.0, abs=1e-5)


def test_a_scarce_jar_goes_where_nothing_else_may():
    """The second feed may have yeast alone, of which there is 0.8 g/L: it gets all of it."""
    ceilings = ceilings_of((SALT, YEAST), 10.0, [])
    yeast = jar("yeast", amino=50, price=1, label=0.8)  # cheaper than salt, yet kept back
    ceilings = ceilings_of((SALT, yeast), 10.0, [])
    found = solve(problem([SALT, yeast], [FeedAsk(60, (0, 1)), FeedAsk(40, (1,))], ceilings))
    assert found.feasible
    assert found.grams_l == pytest.approx(np.array([[0.3, 0.0], [0.0, 0.8]]), abs=1e-4)


def test_what_is_short_is_spread_evenly():
    """20 mg N/L for two feeds that ask 30 and 10: each gets half."""
    ceiling = Ceiling("stock:salt", "the shelf holds little", (1.0,), 0.1)
    found = solve(problem([SALT], [FeedAsk(30, (0,)), FeedAsk(10, (0,))], [ceiling]))
    assert found.short_mg_l == pytest.approx([15, 5], abs=1e-3)
    assert not found.feasible


def test_the_binding_ceiling_is_named_with_what_lifting_it_leaves():
    """Asked 100: salt to 0.2 g/L (40 mg), yeast to 0.4 g/L (20 mg): 40 short.

    Without the salt's ceiling nothing is short; without the yeast's neither (1.2 g/L of it).
    """
    salt = Ceiling("limit:salt", "the law allows 0.2 g/L", (1.0, 0.0), 0.2)
    yeast = Ceiling("label:yeast", "the label allows 0.4 g/L", (0.0, 1.0), 0.4)
    idle = Ceiling("stock:yeast", "the shelf holds plenty", (0.0, 1.0), 9.0)
    p = problem([SALT, YEAST], [FeedAsk(100, (0, 1))], [salt, yeast, idle])
    found = solve(p)
    assert shortfall(p) == pytest.approx(40, abs=1e-3)
    assert found.short_mg_l.sum() == pytest.approx(40, abs=1e-3)
    named = {c.key: left for c, left in binding(p, found)}
    assert named == {
        "limit:salt": pytest.approx(0, abs=1e-3),
        "label:yeast": pytest.approx(0, abs=1e-3),
    }


def test_lifting_a_ceiling_may_not_be_enough():
    """Two feeds; the second may have yeast alone: lifting the salt helps the first only."""
    salt = Ceiling("limit:salt", "w", (1.0, 0.0), 0.1)
    yeast = Ceiling("label:yeast", "w", (0.0, 1.0), 0.2)
    p = problem([SALT, YEAST], [FeedAsk(50, (0,)), FeedAsk(50, (1,))], [salt, yeast])
    named = {c.key: left for c, left in binding(p, solve(p))}
    assert named["limit:salt"] == pytest.approx(40, abs=1e-2)
    assert named["label:yeast"] == pytest.approx(30, abs=1e-2)


def test_nothing_binds_a_feasible_plan():
    p = problem([SALT], [FeedAsk(50, (0,))])
    assert binding(p, solve(p)) == []


def test_fewest_products_at_almost_the_same_cost():
    twin = jar("twin", ammonium=200, price=10.0)
    found = solve(problem([SALT, twin], [FeedAsk(60, (0, 1)), FeedAsk(40, (0, 1))]))
    assert len(np.flatnonzero(found.grams_l.sum(axis=0))) == 1


def test_minerals_are_filled_where_they_can_be():
    magnesium = jar("magnesium", magnesium=100, price=5)
    found = solve(problem([SALT, magnesium], [FeedAsk(50, (0, 1))], wants={"magnesium": 40.0}))
    assert found.grams_l[0, 1] == pytest.approx(0.4, abs=1e-4)


def test_a_stated_rate_is_given_even_where_nothing_wants_it():
    magnesium = jar("magnesium", magnesium=100, price=5)
    found = solve(problem([magnesium], [FeedAsk(0, (0,), fixed_g_l={0: 0.3})]))
    assert found.grams_l[0, 0] == pytest.approx(0.3, abs=1e-5)
    held = Ceiling("label:magnesium", "w", (1.0,), 0.1)
    less = solve(problem([magnesium], [FeedAsk(0, (0,), fixed_g_l={0: 0.3})], [held]))
    assert less.grams_l[0, 0] == pytest.approx(0.1, abs=1e-5)
    assert not less.feasible


@pytest.mark.parametrize(("jars", "feeds"), [([], [FeedAsk(50, ())]), ([SALT], [])])
def test_no_jars_or_no_feeds(jars, feeds):
    found = solve(problem(jars, feeds))
    assert found.grams_l.size == 0
    assert found.short_mg_l.sum() == sum(f.nitrogen_mg_l for f in feeds)
    assert shortfall(problem(jars, feeds)) == found.short_mg_l.sum()


def test_rounding_down_where_up_would_break_a_ceiling():
    ceiling = Ceiling("stock:salt", "w", (1.0,), 0.29)  # 2.9 g in 10 L
    rounded = round_to_scale(np.array([[1.46], [1.44]]), 0.1, [ceiling], 10.0)
    assert rounded.tolist() == [[1.4], [1.4]] or rounded.sum() == pytest.approx(2.9)
    assert rounded.sum() <= 2.9 + 1e-9
    free = round_to_scale(np.array([[1.46], [1.44]]), 0.1, [], 10.0)
    assert free.tolist() == [[1.5], [1.4]]


# What a plan says of it ----------------------------------------------------------------------


def test_as_written_a_breach_asks_for_what_the_nitrogen_needs_and_no_more():
    """The last feed of the strong-must protocol is organic alone: 15 % of the nitrogen to add."""
    plan, _ = feeding(
        sheet(
            "1.140", shelf={"dap": {"label_max_g_l": 5}, "autolysed_yeast": {"label_max_g_l": 0.6}}
        ),
        "staged_for_strong_musts",
    )
    to_add = plan.feeds[0].items[0].grams.inputs["nitrogen_to_add_mg_l"].value
    breach = next(b for b in plan.breaches if b.limit == "label:autolysed_yeast")
    assert breach.allowed_g_l.value == 0.6
    assert breach.asked_g_l.value == pytest.approx(0.15 * to_add / 45, rel=0.02)
    assert not plan.feasible


def test_advice_to_buy_leaves_what_it_says():
    shelf = {"dap": True, "autolysed_yeast": True, "scale": "0.001 g"}
    plan, _ = feeding(sheet("1.100", shelf=shelf), "organic_only_by_sugar")
    advice = next(s for s in plan.would_free if s.startswith("Inactivated-yeast"))
    lacks, left = (float(x) for x in re.findall(r"\d+", advice))
    assert plan.nitrogen.short_mg_l.value == pytest.approx(lacks, abs=1)
    bought, _ = feeding(
        sheet("1.100", shelf=shelf | {"inactivated_yeast": True}), "organic_only_by_sugar"
    )
    assert bought.nitrogen.short_mg_l.value == pytest.approx(left, abs=1)
    assert bought.nitrogen.short_mg_l.value < plan.nitrogen.short_mg_l.value - 5


def test_the_law_that_binds_is_named():
    shelf = {"dap": {"label_max_g_l": 5}}
    plan, _ = feeding(sheet("1.140", shelf=shelf, legal={"profile": "us"}), "everything_at_pitch")
    (breach,) = plan.breaches
    assert breach.limit == "limit:ammonium_phosphate"
    assert "United States" in breach.words
    assert "0.95" in breach.words or "0.96" in breach.words
    assert breach.asked_g_l.value > breach.allowed_g_l.value
    assert breach.allowed_g_l.source.startswith("CFR24246")
    assert [b.limit for b in plan.touched] == ["limit:ammonium_phosphate"]


def test_a_missing_kind_is_said_in_words():
    plan, _ = feeding(sheet(shelf={"dap": True}), "organic_only_by_sugar")
    assert not plan.feasible
    assert plan.missing[0] == (
        "'Onset' needs a nutrient that is organic or mineral; the shelf has none"
    )
    assert all(not feed.items for feed in plan.feeds)


def test_a_stated_rate_keeps_the_conditions_of_its_protocol():
    feeds = [
        {"name": "First", "when": "pitch", "rate": {"dap": "0.2 g/L"}},
        {"name": "Last", "when": {"sugar_used": 0.5}, "rate": {"dap": "0.2 g/L"}},
    ]
    rate = protocol_data() | {"dose": {"basis": "rate"}, "feed": feeds}
    free, _ = feeding(sheet(shelf={"dap": True}), protocol(**rate))
    assert [bool(f.items) for f in free.feeds] == [True, True]
    for condition in (
        {"last_feed_without_ammonium_salt": True},
        {"ammonium_until_sugar_used": 0.3},
        {"ammonium_until_alcohol": "3 %"},
    ):
        held, _ = feeding(sheet(shelf={"dap": True}), protocol(**rate, conditions=condition))
        assert [bool(f.items) for f in held.feeds] == [True, False]
        assert "'Last' needs a nutrient that is dap" in held.missing[0]
