"""When feeds fall due: triggers in words, their order, folding, and what conditions rule out."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import cases
from musts import TRIGGERS, feeding, protocol, sheet
from mustwright.kinetics.pace import usual_pace
from mustwright.must.course import course_of
from mustwright.nutrition.feeds import place_feeds
from mustwright.nutrition.triggers import hours_words, read_trigger

PACE = usual_pace(24.0, 20.0, 200.0)


def words(value, brix=24.0):
    return read_trigger(value, "when").words(brix)


@pytest.mark.parametrize(
    ("trigger", "said"),
    [
        ("pitch", "at pitch, once the yeast is in"),
        ("onset", "at onset: first steady bubbles or the first fall in gravity"),
        ({"after_pitch": "24 h"}, "24 hours after pitch"),
        ({"after_pitch": "1 h"}, "1 hour after pitch"),
        ({"after_pitch": "7 days"}, "7 days after pitch"),
        ({"after_onset": 12}, "12 hours after onset"),
        ({"sugar_used": 0.3333}, "when one third of the sugar is gone (gravity about 1.064)"),
        ({"sugar_used": "25 %"}, "when 25 % of the sugar is gone (gravity about 1.073)"),
        ({"brix_drop": "2.5 Bx"}, "when it has dropped 2.5 Brix (gravity about 1.090)"),
        (
            {"first_of": [{"sugar_used": 0.3333}, {"after_pitch": "168 h"}]},
            "when one third of the sugar is gone (gravity about 1.064) or 7 days after pitch, "
            "whichever comes first",
        ),
    ],
)
def test_triggers_in_words(trigger, said):
    assert words(trigger) == said


@pytest.mark.parametrize("brix", [12.0, 18.0, 24.0, 28.0, 33.0])
@pytest.mark.parametrize("fraction", [0.1, 1 / 3, 0.5])
def test_the_gravity_of_a_trigger_is_that_of_a_mass_balance(brix, fraction):
    """Gravity falls nearly evenly with the sugar (common practice, no source)."""
    said_gravity = float(re.search(r"1\.\d{3}", words({"sugar_used": fraction}, brix=brix))[0])
    course = course_of(brix)
    assert said_gravity == pytest.approx(float(course.gravity_at(fraction)), abs=0.0005)
    start, dry = course.gravity[0], course.gravity[-1]
    assert said_gravity == pytest.approx(start - fraction * (start - dry), abs=0.0016)


def test_a_third_of_the_sugar_at_24_brix_by_hand():
    """24 Brix is 264.2 g/L (ICUMSA); 95 % of it ferments, a third of that is 83.7 g.

    At 0.48 g/g it makes about 40 g of ethanol; 180.5 g/L of extract stay. 1.070 for the extract
    (NBS C440: 17 Brix) less 0.0073 for 5.1 % vol (OIML R 22) is 1.063.
    """
    assert "1.06" in words({"sugar_used": 1 / 3}, brix=24.0)
    assert float(course_of(24.0).gravity_at(1 / 3)) == pytest.approx(1.063, abs=0.0015)


def test_a_fall_in_gravity_is_a_fall_in_brix():
    by_gravity = read_trigger({"gravity_drop": "0.030"}, "when")
    # NBS C440: gravity 1.080 is 19.33 Brix, 1.050 is 12.39.
    assert by_gravity.amount == pytest.approx(6.94, abs=0.01)
    assert by_gravity.kind == "gravity_drop"


@pytest.mark.parametrize(("hours", "said"), [(1, "1 hour"), (36, "36 hours"), (48, "2 days"),
                                             (50, "50 hours"), (72.0, "3 days")])  # fmt: skip
def test_hours_as_people_say_them(hours, said):
    assert hours_words(hours) == said


@cases(300)
@given(TRIGGERS, st.floats(0.0, 45.0), st.floats(5, 35))
def test_every_trigger_has_an_hour_and_a_share_and_words(data, brix, temperature):
    trigger = read_trigger(data, "when")
    pace = usual_pace(brix, temperature, 150)
    expected = trigger.expected(pace)
    assert 0 <= expected.value < 1e5
    if expected.low is not None:
        assert expected.low <= expected.value <= expected.high
    assert 0 <= trigger.sugar_used(pace) <= 1
    assert len(trigger.words(brix)) > 8


def test_first_of_takes_the_sooner():
    early = read_trigger({"first_of": [{"after_pitch": "2 h"}, {"sugar_used": 0.9}]}, "when")
    late = read_trigger({"first_of": [{"after_pitch": "900 h"}, {"sugar_used": 0.05}]}, "when")
    assert early.expected(PACE).value == 2
    assert late.expected(PACE).value < 100


# Feeds ---------------------------------------------------------------------------------------


def feed(name, when, share=0.5, nutrients=("any",)):
    return {"name": name, "when": when, "share": share, "nutrients": list(nutrients)}


def test_feeds_come_in_the_order_they_fall_due():
    p = protocol(feed=[feed("Late", {"sugar_used": 0.5}), feed("Early", "pitch")])
    assert [slot.rule.name for slot in place_feeds(p, PACE)] == ["Early", "Late"]


def test_a_feed_past_the_end_folds_into_the_one_before():
    p = protocol(
        feed=[feed("A", "pitch", 0.3), feed("B", {"sugar_used": 0.2}, 0.3),
              feed("C", {"sugar_used": 0.6}, 0.4)],
        conditions={"nothing_after_sugar_used": 0.5},
    )  # fmt: skip
    slots = place_feeds(p, PACE)
    assert [slot.rule.name for slot in slots] == ["A", "B"]
    assert [slot.share for slot in slots] == pytest.approx([0.3, 0.7])
    assert slots[1].notes == ("'C' would come after 50 % of the sugar, so it is given here",)


def test_the_first_feed_stays_even_past_the_end():
    p = protocol(
        feed=[feed("A", {"sugar_used": 0.6}), feed("B", {"sugar_used": 0.7})],
        conditions={"nothing_after_sugar_used": 0.1},
    )
    slots = place_feeds(p, PACE)
    assert len(slots) == 1
    assert slots[0].share == pytest.approx(1)


def test_a_stated_rate_past_the_end_comes_with_the_feed_before():
    feeds = [
        {"name": "A", "when": "pitch", "rate": {"dap": "0.2 g/L"}},
        {"name": "B", "when": {"sugar_used": 0.9}, "rate": {"organic": "0.3 g/L"}},
    ]
    plan, setting = feeding(
        sheet(shelf={"dap": True, "autolysed_yeast": True, "scale": "0.001 g"}),
        protocol(dose={"basis": "rate"}, feed=feeds, conditions={"nothing_after_sugar_used": 0.5}),
    )
    (only,) = plan.feeds
    litres = setting.must.volume_l.value
    given = {item.nutrient: item.grams.value / litres for item in only.items}
    assert given == {
        "dap": pytest.approx(0.2, abs=1e-4),
        "autolysed_yeast": pytest.approx(0.3, abs=1e-4),
    }


def test_a_fast_ferment_pulls_clock_feeds_past_the_end():
    taper = "daily_taper_of_three"
    warm, _ = feeding(sheet("1.080", temperature="34 C"), taper)
    cool, _ = feeding(sheet("1.120", temperature="18 C"), taper)
    assert len(warm.feeds) < len(cool.feeds)
    assert any("given here" in note for f in warm.feeds for note in f.notes)


@pytest.mark.parametrize("gravity", ["1.080", "1.110", "1.150"])
@pytest.mark.parametrize("temperature", ["12 C", "20 C", "30 C"])
def test_no_ammonium_after_the_cutoff(gravity, temperature):
    p = protocol(conditions={"ammonium_until_sugar_used": 0.2})
    plan, setting = feeding(sheet(gravity, temperature=temperature), p)
    jars = {jar.id: jar for jar in setting.jars}
    late = [f for f in plan.feeds if f.sugar_used > 0.2]
    assert late
    for f in late:
        assert f.ammonium_mg_l.value == 0
        assert all(jars[i.nutrient].per_gram("ammonium_n") == 0 for i in f.items)


def test_no_ammonium_above_the_alcohol():
    p = protocol(
        feed=[feed("A", "pitch"), feed("B", {"sugar_used": 0.7})],
        conditions={"ammonium_until_alcohol": "9 %"},
    )
    weak, _ = feeding(sheet("1.060"), p)
    strong, _ = feeding(sheet("1.120"), p)
    assert weak.feeds[1].ammonium_mg_l.value > 0
    assert strong.feeds[1].ammonium_mg_l.value == 0


def test_the_words_of_a_drop_no_must_can_make():
    assert "no sugar left by then" in words({"brix_drop": "20 Bx"}, brix=10.0)
