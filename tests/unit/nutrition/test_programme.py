"""The blend programme: hand-worked optima, and what it says when it cannot."""

import re

import numpy as np
import pytest

from musts import feeding, ground, protocol, protocol_data, sheet
from mustwright.figure import TYPED, Figure
from mustwright.nutrition.plan import plan_feeding
from mustwright.nutrition.programme import (
    Ceiling,
    DosingProblem,
    FeedAsk,
    as_written,
    binding,
    shortfall,
    solve,
)
from mustwright.nutrition.protocols import built_in_protocols
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
    yeast = jar("yeast", amino=50, price=1)  # cheaper than salt, yet kept back
    ceilings = [Ceiling("label:yeast", "the label allows 0.8 g/L", (0.0, 1.0), 0.8)]
    found = solve(problem([SALT, yeast], [FeedAsk(60, (0, 1)), FeedAsk(40, (1,))], ceilings))
    assert found.feasible
    assert found.grams_l == pytest.approx(np.array([[0.3, 0.0], [0.0, 0.8]]), abs=1e-4)


def test_what_is_short_is_spread_evenly():
    """20 mg N/L for two feeds that ask 30 and 10: each gets half."""
    ceiling = Ceiling("stock:salt", "the shelf holds little", (1.0,), 0.1)
    found = solve(problem([SALT], [FeedAsk(30, (0,)), FeedAsk(10, (0,))], [ceiling]))
    assert found.lacks_mg_l == pytest.approx([15, 5], abs=1e-3)
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
    assert found.short_mg_l == pytest.approx(40, abs=1e-3)
    named = {c.key: left for c, left in binding(p, found)}
    assert named == {
        "limit:salt": pytest.approx(0, abs=1e-3),
        "label:yeast": pytest.approx(0, abs=1e-3),
    }


def test_lifting_a_ceiling_may_not_be_enough():
    """Asked 100; salt to 0.1 g/L (20 mg), yeast to 0.2 g/L (10 mg); yeast bitter beyond 1 g/L.

    Without the salt's ceiling the first feed brings what the second cannot; without the yeast's
    first one, its other still holds at 1 g/L (50 mg): 30 stay short.
    """
    salt = Ceiling("limit:salt", "w", (1.0, 0.0), 0.1)
    yeast = Ceiling("label:yeast", "w", (0.0, 1.0), 0.2)
    bitter = Ceiling("stock:yeast", "w", (0.0, 1.0), 1.0)
    asks = [FeedAsk(50, (0,)), FeedAsk(50, (1,))]
    p = problem([SALT, YEAST], asks, [salt, yeast, bitter])
    named = {c.key: left for c, left in binding(p, solve(p))}
    assert named["limit:salt"] == pytest.approx(0, abs=1e-2)
    assert named["label:yeast"] == pytest.approx(30, abs=1e-2)


def test_advice_gives_way_before_nitrogen_and_no_sooner():
    """100 mg N/L of yeast alone is 2 g/L, whatever a usual label says; with salt there is none."""
    usual = Ceiling("label:yeast", "w", (0.0, 1.0), 0.4, advises=True, high=0.6)
    alone = solve(problem([SALT, YEAST], [FeedAsk(100, (1,))], [usual]))
    assert alone.feasible
    assert alone.grams_l == pytest.approx(np.array([[0.0, 2.0]]), abs=1e-4)
    both = solve(problem([SALT, YEAST], [FeedAsk(100, (0, 1))], [usual], share=0.9))
    assert both.grams_l == pytest.approx(np.array([[0.45, 0.2]]), abs=1e-4)


def test_a_share_of_ammonium_gives_way_before_nitrogen():
    """The shelf holds 0.4 g/L of yeast (20 mg N/L): the other 80 come as salt, not 20 as wished."""
    stock = Ceiling("stock:yeast", "w", (0.0, 1.0), 0.4)
    found = solve(problem([SALT, YEAST], [FeedAsk(100, (0, 1))], [stock], share=0.2))
    assert found.feasible
    assert found.grams_l == pytest.approx(np.array([[0.4, 0.4]]), abs=1e-4)


def test_a_jar_not_named_stands_in_only_for_what_would_stay_short():
    stock = Ceiling("stock:yeast", "w", (0.0, 1.0), 0.4)
    ask = FeedAsk(100, (1,), stand_ins=(0,))
    found = solve(problem([SALT, YEAST], [ask], [stock]))
    assert found.grams_l == pytest.approx(np.array([[0.4, 0.4]]), abs=1e-4)
    assert found.stand_ins_mg_l == pytest.approx(np.array([[80.0, 0.0]]), abs=1e-2)
    plenty = solve(problem([SALT, YEAST], [ask]))
    assert plenty.stand_ins_mg_l.sum() == 0


def test_what_a_feed_cannot_bring_at_its_moment_comes_in_the_others_by_their_shares():
    """The last of 60, 20 and 20 has no jar: the others take its 20 as 15 and 5."""
    asks = [FeedAsk(60, (0,)), FeedAsk(20, (0,)), FeedAsk(20, ())]
    found = solve(problem([SALT], asks))
    assert found.feasible
    assert (found.grams_l[:, 0] * 200) == pytest.approx([75, 25, 0], abs=1e-2)


def test_a_stated_rate_is_cut_by_the_same_part_in_every_feed():
    """Three times 1 g/US gal (0.264 g/L) of what the shelf holds 0.4 g/L of: a half each time."""
    stock = Ceiling("stock:yeast", "w", (1.0,), 0.396)
    ask = FeedAsk(0.264 * 50, (0,), fixed_g_l={0: 0.264})
    found = solve(problem([YEAST], [ask, ask, ask], [stock]))
    assert found.grams_l[:, 0] == pytest.approx([0.132, 0.132, 0.132], abs=1e-4)
    assert not found.feasible


def test_as_written_nothing_gives_way():
    usual = Ceiling("label:yeast", "w", (0.0, 1.0), 0.4)
    ask = FeedAsk(100, (1,), stand_ins=(0,))
    found = solve(as_written(problem([SALT, YEAST], [ask], [usual], share=0.2)))
    assert found.grams_l == pytest.approx(np.array([[0.0, 2.0]]), abs=1e-4)


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
    assert found.short_mg_l == sum(f.nitrogen_mg_l for f in feeds)
    assert shortfall(problem(jars, feeds)) == found.short_mg_l


def test_rounding_down_where_up_would_break_a_ceiling():
    ceiling = Ceiling("stock:salt", "w", (1.0,), 0.29)  # 2.9 g in 10 L
    rounded = round_to_scale(np.array([[1.46], [1.44]]), 0.1, [ceiling], 10.0)
    assert rounded.tolist() == [[1.4], [1.4]] or rounded.sum() == pytest.approx(2.9)
    assert rounded.sum() <= 2.9 + 1e-9
    free = round_to_scale(np.array([[1.46], [1.44]]), 0.1, [], 10.0)
    assert free.tolist() == [[1.5], [1.4]]


# What a plan says of it ----------------------------------------------------------------------


def test_as_written_a_breach_asks_for_what_the_nitrogen_needs_and_no_more():
    """The last feed of the strong-must protocol is organic alone: 15 % of the nitrogen to add.

    What its typed label does not allow there comes in the earlier feeds, and that is said.
    """
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
    assert plan.feasible
    assert any("One-third break" in words and "do not take" in words for words in plan.gave_way)


def test_advice_to_buy_leaves_what_it_says():
    shelf = {"dap": "1 g", "autolysed_yeast": "5 g", "scale": "0.001 g"}
    plan, _ = feeding(sheet("1.100", shelf=shelf), "organic_only_by_sugar")
    advice = next(s for s in plan.would_free if s.startswith("Inactivated-yeast"))
    lacks, *left = (float(x) for x in re.findall(r"\d+", advice))
    assert plan.nitrogen.short_mg_l.value == pytest.approx(lacks, abs=1)
    bought, _ = feeding(
        sheet("1.100", shelf=shelf | {"inactivated_yeast": True}), "organic_only_by_sugar"
    )
    assert bought.nitrogen.short_mg_l.value == pytest.approx(left[0] if left else 0, abs=1)
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


def test_a_missing_kind_gives_way_and_is_said_in_words():
    """Ammonium stands in where the shelf has no other nitrogen, but not past the third."""
    plan, _ = feeding(sheet(shelf={"dap": True}), "organic_only_by_sugar")
    assert plan.feasible
    assert plan.nitrogen.short_mg_l.value < 1
    assert plan.gave_way[0].startswith("'Onset' calls for organic nitrogen. Ammonium phosphate")
    assert not plan.feeds[-1].items
    assert [b.limit for b in plan.as_written.breaches] == ["label:autolysed_yeast"]
    assert plan.as_written.not_on_shelf == ("Autolysed-yeast nutrient",)
    items = {item.nutrient for feed in plan.as_written.feeds for item in feed.items}
    assert items == {"autolysed_yeast"}


def test_nothing_on_the_shelf_is_named_as_what_binds():
    plan, _ = feeding(sheet(shelf={"magnesium_sulfate": True}), "organic_only_by_sugar")
    assert not plan.feasible
    assert plan.would_free


def test_following_the_author_keeps_the_law_and_nothing_else():
    content = sheet(
        "1.140",
        shelf={"dap": {"label_max_g_l": 0.2}, "autolysed_yeast": "10 g"},
        legal={"profile": "us"},
    )
    content["goal"] = {"protocols": "as_written"}
    setting = ground(content).setting
    chosen = built_in_protocols()["organic_only_by_sugar"]
    plan = plan_feeding(setting, chosen)
    assert {item.nutrient for feed in plan.feeds for item in feed.items} == {"autolysed_yeast"}
    assert plan.nitrogen.added_mg_l.value == pytest.approx(
        plan.as_written.feeds[0].nitrogen_mg_l.value / 0.4, rel=0.01
    )
    salt = ground(content | {"shelf": {"dap": {"label_max_g_l": 0.2}}}).setting
    pitched = plan_feeding(salt, built_in_protocols()["everything_at_pitch"])
    assert not pitched.feasible
    assert any("United States" in words for words in pitched.would_free)
    named = " ".join(plan.gave_way)
    assert "the shelf holds 10 g of Autolysed-yeast nutrient: get more" in named
    assert "the label of Ammonium phosphate" in " ".join(pitched.gave_way)


def test_labels_that_advise_are_gone_beyond_and_named():
    shelf = {"autolysed_yeast": {"label_max_g_l": 0.4}}
    kept, _ = feeding(sheet(shelf=shelf), "organic_only_by_sugar")
    free, _ = feeding(sheet(shelf=shelf, legal={"labels": "advise"}), "organic_only_by_sugar")
    assert not kept.feasible
    assert free.feasible
    assert any("the label of Autolysed-yeast nutrient allows 0.4 g/L" in w for w in free.gave_way)


def test_an_uptake_weight_counts_the_same_in_dose_and_shortfall():
    shelf = {"autolysed_yeast": {"uptake_weight": 4, "label_max_g_l": 5}}
    plan, _ = feeding(sheet(shelf=shelf), "organic_only_by_sugar")
    plain, _ = feeding(sheet(shelf={"autolysed_yeast": {"label_max_g_l": 5}}), plan.protocol)
    n = plan.nitrogen
    assert n.added_mg_l.value == pytest.approx(plain.nitrogen.added_mg_l.value / 4, rel=0.02)
    assert n.uptake_extra_mg_l.value == pytest.approx(3 * n.added_mg_l.value)
    assert n.short_mg_l.value < 1
    assert not any("Short of demand" in words for words in plan.warnings)


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
        assert "'Last' needs dap" in held.missing[0]
