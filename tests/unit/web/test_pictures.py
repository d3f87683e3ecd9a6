"""Pictures are well-formed, have a mark for each feed, and keep the two nitrogens apart."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from types import SimpleNamespace

import pytest

from fake_cellar import FakeCellar
from mustwright.batch.series import Series
from mustwright.nutrition.protocols import built_in_protocols
from mustwright.planning import plan_text as say
from mustwright.services import records as use
from mustwright.services.demo import demo_sheets, seed_demo
from mustwright.services.own_protocols import nominal_feeds
from mustwright.unit_system import UnitSystem, choosing
from mustwright.web.pictures.balance import balance_picture
from mustwright.web.pictures.feed_line import feed_line, nominal_line, small_line
from mustwright.web.pictures.frame import TimeAxis
from mustwright.web.pictures.side_by_side import side_by_side, side_by_side_values
from mustwright.web.pictures.svg import text
from mustwright.web.pictures.trial_lines import VesselLine, trial_lines, trial_values
from mustwright.web.pictures.values import told_together

NS = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def cellar():
    made = FakeCellar(lambda: datetime(2031, 5, 1, tzinfo=UTC))
    seed_demo(made)
    return made


@pytest.fixture(params=[slug for slug, _, _ in demo_sheets()])
def compared(request, cellar):
    record = cellar.record("sheet", request.param)
    return use.compare_text(cellar, record.text, record.name)


def parsed(markup):
    """The picture as XML; the class of every element that is drawn."""
    root = ET.fromstring(str(markup))
    assert root.get("role") == "img"
    named = root.get("aria-labelledby")
    assert any(e.get("id") == named and e.text for e in root.iter())
    assert not [e for e in root.iter() if e.get("style")]
    drawn = [e for e in root if e.tag != "defs"]
    return root, [(e.get("class") or "") for e in drawn]


@pytest.mark.parametrize("narrow", [False, True])
def test_the_feed_line_has_a_mark_for_each_feed(compared, narrow):
    for plan in compared.plans:
        third = say.third_break(compared, plan)
        root, classes = parsed(feed_line(plan, third, narrow))
        assert classes.count("stem") == len(plan.feeds)
        assert classes.count("ammonium") == sum(f.ammonium_mg_l.value > 0 for f in plan.feeds)
        assert classes.count("amino") == sum(f.amino_mg_l.value > 0 for f in plan.feeds)
        assert classes.count("band") == classes.count("break") == 1
        hatched = [e for e in root if e.get("class") == "amino"]
        assert all(e.get("fill", "").startswith("url(#") for e in hatched)


def test_stacks_are_as_tall_as_their_nitrogen(compared):
    for plan in compared.plans:
        root, _ = parsed(feed_line(plan, say.third_break(compared, plan)))
        heights = [float(e.get("height")) for e in root if e.get("class") == "ammonium"]
        values = [f.ammonium_mg_l.value for f in plan.feeds if f.ammonium_mg_l.value > 0]
        for height, value in zip(heights, values, strict=True):
            assert height / max(heights) == pytest.approx(value / max(values), abs=0.01)


def test_every_feed_of_every_protocol_stands_behind_side_by_side(compared):
    table = side_by_side_values(compared.plans)
    for k, plan in enumerate(compared.plans):
        told = [texts[k] for _, _, texts in table.moments if texts[k]]
        feeds = sorted(plan.feeds, key=lambda feed: feed.expected_h.value)
        sums = [feed.ammonium_mg_l.value + feed.amino_mg_l.value for feed in feeds]
        assert told == [f"{whole:.0f} mg N/L" for whole in sums]


def two_readings():
    pitched = datetime(2031, 5, 1, tzinfo=UTC)
    points = [
        SimpleNamespace(at=pitched + timedelta(hours=h), id=str(h), hours=h, gravity=g,
                        gravity_sd=0.001, used=0.0, original_gravity=1.1)
        for h, g in ((1.0, 1.1), (200.0, 1.0))
    ]  # fmt: skip
    return Series.of(points)


def test_the_values_behind_a_trial_are_said_on_the_scale_chosen():
    with choosing(UnitSystem(gravity="Brix")):
        table = trial_values([VesselLine("101", two_readings(), 3)])
    assert [told for _, _, told in table.moments] == [("23.8 °Bx",), ("0.0 °Bx",)]


def test_labels_of_many_vessels_stay_apart_and_inside_their_picture():
    codes = [str(k) for k in range(101, 113)]
    for picture in trial_lines([VesselLine(code, two_readings(), 3) for code in codes]):
        root, _ = parsed(picture)
        labels = [e for e in root.iter("text") if e.text in codes]
        heights = sorted(float(e.get("y")) for e in labels)
        assert len(heights) == len(codes)
        assert min(b - a for a, b in pairwise(heights)) >= 12
        assert 0 < heights[0] < heights[-1] < float(root.get("height"))
        assert root.get("data-axis")


def test_what_lies_close_is_told_together_but_nothing_of_one_name_is_lost():
    table = told_together([("a", [(0.0, "1"), (2.0, "2"), (30.0, "3")]), ("b", [(1.0, "4")])])
    assert [(at, texts) for at, _, texts in table.moments] == [
        (0.0, ("1", "4")), (2.0, ("2", "")), (30.0, ("3", "")),
    ]  # fmt: skip
    many = told_together([("a", [(24.0 * k, str(k)) for k in range(41)])], 16)
    assert len(many.moments) <= 16
    assert many.moments[-1][2] == ("40",)


@pytest.mark.parametrize("narrow", [False, True])
def test_side_by_side_has_every_protocol_and_every_feed(compared, narrow):
    thirds = [say.third_break(compared, plan) for plan in compared.plans]
    picture = side_by_side(compared.plans, thirds, compared.suits_best, narrow)
    assert "mg N/L in 1 feed;" in picture
    assert "in 1 feeds" not in picture
    _, classes = parsed(picture)
    assert classes.count("spine") == classes.count("hollow") == len(compared.plans)
    assert classes.count("stem") == sum(len(plan.feeds) for plan in compared.plans)
    assert classes.count("need") == len(compared.plans)
    assert classes.count("t mark") == 1


def test_bars_of_side_by_side_are_as_long_as_their_totals(compared):
    plans = compared.plans
    thirds = [say.third_break(compared, plan) for plan in plans]
    root, _ = parsed(side_by_side(plans, thirds, compared.suits_best))
    hollow = [e for e in root if e.get("class") == "hollow"]
    parts = [e for e in root if e.get("class") in
             ("ammonium half", "amino half", "wake", "ammonium", "amino")
             and float(e.get("x")) >= float(hollow[0].get("x"))]  # fmt: skip
    scale = float(hollow[0].get("width")) / plans[0].nitrogen.demand_mg_l.value
    drawn = sum(float(e.get("width")) for e in parts) / scale
    wanted = sum(plan.nitrogen.total_mg_l.value for plan in plans)
    assert drawn == pytest.approx(wanted, rel=0.01)


@pytest.mark.parametrize("narrow", [False, True])
def test_the_balance_has_a_row_for_each_nutrient(compared, narrow):
    plan = compared.plans[0]
    _, classes = parsed(balance_picture(plan.balance, plan.nitrogen, narrow))
    assert classes.count("need") == len(plan.balance)


@pytest.mark.parametrize("identity", sorted(built_in_protocols()))
def test_a_nominal_line_has_a_dot_for_each_feed(identity):
    protocol = built_in_protocols()[identity]
    slots, third = nominal_feeds(protocol)
    feeds = [(slot.expected.value, slot.rule.name, "a share") for slot in slots]
    _, classes = parsed(nominal_line(feeds, third, identity))
    assert classes.count("dot") == len(slots)


def test_the_small_line_shows_every_feed(compared):
    for plan in compared.plans:
        _, classes = parsed(small_line(plan, say.third_break(compared, plan), "k"))
        assert classes.count("stem") == len(plan.feeds)


def test_words_are_escaped():
    assert "<b>" not in text(0, 0, "<b>&")
    assert ET.fromstring(text(0, 0, "<b>&")).text == "<b>&"


@pytest.mark.parametrize(("last", "end"), [(0, 24), (24, 24), (25, 48), (240, 240), (2000, 2016)])
def test_an_axis_holds_its_hours_in_whole_days(last, end):
    axis = TimeAxis.to_hold(0, 400, [last])
    assert axis.end_h == end
    assert axis.x(0) == 0
    assert axis.x(end) == 400
    assert axis.x(last) <= 400
    steps = [
        axis.x(b * 24) - axis.x(a * 24) for a, b in zip(axis.days, axis.days[1:], strict=False)
    ]
    assert all(step >= 29 for step in steps)
