"""What plans would do: the same members under each, feeds when the forecast expects them."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from mustwright.cli.plan import outcome_lines
from mustwright.figure import Figure
from mustwright.kinetics.bands import Band
from mustwright.planning import plan_forecast as o
from mustwright.planning.plan import compare, plan
from mustwright.planning.plan_json import comparison_data, plan_data

pytestmark = pytest.mark.usefixtures("forecasts")
THREE = ["everything_at_pitch", "halves_at_onset_and_third", "label_rate_days_1_2_3"]
WATER = '[must]\nvolume = "5 L"\n[[must.ingredient]]\nkind = "water"\namount = "5 L"\n'


@pytest.fixture(scope="module")
def compared(sheet):
    return o.foresee_comparison(compare(sheet, THREE), 96)


def test_a_protocol_against_itself_is_no_real_difference(sheet):
    planned = plan(sheet, "everything_at_pitch")
    one, other = o.foresee(planned.ground, [planned.plan, planned.plan], 64)
    must, conditions = o.must_at_pitch(planned.ground), o.conditions_of(planned.ground)
    run = o.run_of(must, o.feeds_of(planned.plan, planned.ground), conditions, 64)
    assert o.difference(run, run) == "no real difference here"
    assert np.array_equal(one.gravity.p50, other.gravity.p50)
    assert one.days_to_dry == other.days_to_dry


def test_the_same_answer_alone_and_among_others(sheet, compared):
    for planned, outcome in zip(compared.plans, compared.outcomes, strict=True):
        alone = o.foresee_plan(plan(sheet, planned.protocol), 96)
        assert alone.outcome.days_to_dry == outcome.days_to_dry
        assert [f.expected_h.value for f in alone.plan.feeds] == [
            f.expected_h.value for f in planned.feeds
        ]


def test_the_days_of_those_that_get_dry_have_two_ends(compared):
    must, conditions = o.must_at_pitch(compared.ground), o.conditions_of(compared.ground)
    plan_, outcome = compared.plans[0], compared.outcomes[0]
    run = o.run_of(must, o.feeds_of(plan_, compared.ground), conditions, 96)
    there = run.dry_at_h[np.isfinite(run.dry_at_h)]
    assert 0 < there.size < 96  # some stop
    found = outcome.days_if_dry
    assert math.isfinite(found.high)
    assert found.high <= outcome.days_to_dry.high
    inside = (there >= 24 * found.low - 1e-6) & (there <= 24 * found.high + 1e-6)
    assert np.mean(inside) == pytest.approx(0.9, abs=0.03)
    lines = outcome_lines(outcome)
    assert not any("never" in line for line in lines)
    assert re.search(r"dry about day \d+ \(day \d+ to \d+ where it gets there\)", lines[0])


def test_hungry_is_slower_and_said_so(compared):
    by_id = dict(zip(THREE, compared.outcomes, strict=True))
    fed, hungry = by_id["everything_at_pitch"], by_id["label_rate_days_1_2_3"]
    assert hungry.days_to_dry.value > fed.days_to_dry.value + 1
    assert compared.suits_best != "label_rate_days_1_2_3"
    assert "later" in hungry.against_best
    assert by_id[compared.suits_best].against_best == ""


def test_figures_keep_their_order_and_say_their_source(compared):
    for outcome in compared.outcomes:
        for figure in (outcome.days_to_dry, outcome.days_if_dry, outcome.residual_sugar_g_l,
                       outcome.residual_yan_mg_l, outcome.peak_temperature_c,
                       outcome.third_h):  # fmt: skip
            assert figure.low <= figure.value <= figure.high
            assert figure.source == o.SOURCE
            assert figure.inputs["members"] == 96
        assert 0 <= outcome.chance_of_sticking.value <= 1
        assert len(outcome.times_h) == len(outcome.gravity.p50)


def test_feeds_by_what_the_must_does_get_the_hours_of_the_forecast(sheet):
    before = plan(sheet, "halves_at_onset_and_third")
    after = o.foresee_plan(before, 96)
    third = after.plan.feeds[1].expected_h
    assert third.source == o.SOURCE
    assert third.inputs["usual_pace_h"] is before.plan.feeds[1].expected_h
    assert third.value == pytest.approx(after.outcome.feeds_h[1].p50)
    assert third.value == pytest.approx(after.outcome.third_h.value, abs=6)
    by_clock = o.foresee_plan(plan(sheet, "thirds_on_days_0_2_4"), 96)
    assert [f.expected_h.value for f in by_clock.plan.feeds] == [0.0, 48.0, 96.0]
    assert all(f.expected_h.low is None for f in by_clock.plan.feeds)


def test_feeds_that_ended_up_empty_keep_their_places(sheet):
    text = sheet + '[shelf]\ndap = { stock = "1 g" }\n'
    planned = o.foresee_plan(plan(text, "staged_for_strong_musts"), 64)
    assert any(not feed.items for feed in planned.plan.feeds)
    assert len(planned.outcome.feeds_h) == len(planned.plan.feeds)


def test_a_must_without_sugar_is_left_alone():
    bare = plan(WATER)
    assert o.foresee_plan(bare) is bare
    both = compare(WATER, ["everything_at_pitch"])
    assert o.foresee_comparison(both) is both


def test_what_never_gets_dry_is_null_in_json(sheet, compared):
    cold = sheet.replace("20 C", "2 C")
    planned = o.foresee_plan(plan(cold, "label_rate_days_1_2_3"), 64)
    assert math.isinf(planned.outcome.days_to_dry.value)
    assert math.isinf(planned.outcome.third_h.value)
    assert plan_data(planned)["outcome"]["days_to_dry"] is None
    shown = comparison_data(compared)["protocols"][0]["outcome"]
    assert shown["days_to_dry"] > 0
    assert shown["third_h"] > 0


def test_words_for_what_differs(sheet):
    planned = plan(sheet, "everything_at_pitch")
    run = o.run_of(
        o.must_at_pitch(planned.ground),
        o.feeds_of(planned.plan, planned.ground),
        o.conditions_of(planned.ground),
        64,
    )
    never = replace(run, dry_at_h=np.full(64, np.inf))
    later = replace(run, dry_at_h=run.dry_at_h + 48)
    soon = replace(run, dry_at_h=run.dry_at_h + 3)
    half = replace(run, dry_at_h=run.dry_at_h + np.where(np.arange(64) % 2, 90, -90))
    sticky = replace(run, chance_of_sticking=run.chance_of_sticking + 0.2)
    assert o.difference(run, run) == "no real difference here"
    assert o.difference(soon, run) == "no real difference here"
    assert o.difference(half, run) == "no real difference here"
    assert o.difference(later, run) == "dry about 2 days later, in 100 % of runs that get dry"
    words = "dry about 2 days sooner, in 100 % of runs that get dry"
    assert o.difference(run, later) == words
    assert o.difference(never, run) == "does not get dry where that one does"
    assert o.difference(run, never) == "gets dry where it does not"
    assert o.difference(sticky, run) == "sticks more often by 20 %"
    assert o.difference(run, sticky) == "sticks less often by 20 %"


def test_doubts_are_those_of_the_must(sheet):
    def said(text):
        return " ".join(o.doubts(plan(text).ground))

    assert said(sheet) == (
        "The model was fitted on only four honey musts, three of them by their gas. The shaded "
        "range allows for how musts and yeasts differ."
    )
    assert "27 Brix" in said(sheet.replace("1.090", "1.130"))
    assert "20 and 28" in said(sheet.replace("20 C", "12 C"))


def test_a_feed_that_many_runs_never_reach_names_no_end_before_its_middle():
    pace = Figure(70.0, "h", "usual pace", "test", {}, 44.0, 89.0)
    far = o._hours(pace, Band(220.0, 300.0, 533.0, math.inf, math.inf))
    assert (far.low, far.value, far.high) == (220.0, 533.0, None)
    near = o._hours(pace, Band(40.0, 50.0, 60.0, 75.0, math.inf))
    assert (near.low, near.value, near.high) == (40.0, 60.0, 89.0)
