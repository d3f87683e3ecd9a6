"""What if: one fact changed, the same members under both, wrong input named by its field."""

from __future__ import annotations

import numpy as np
import pytest

from mustwright.errors import InputError
from mustwright.planning.plan import plan
from mustwright.planning.what_if import FIELDS, Facts, planned_forecast, what_if
from mustwright.planning.what_if_inputs import read_facts, shown_facts, slides

pytestmark = pytest.mark.usefixtures("forecasts")
MEMBERS = 96


@pytest.fixture(scope="module")
def planned(sheet):
    return planned_forecast(plan(sheet, "halves_at_onset_and_third"), MEMBERS)


def changed(planned, **typed):
    facts, errors = read_facts(planned, typed)
    assert errors == {}
    return what_if(planned, facts)


def test_nothing_typed_or_the_plans_own_changes_nothing(planned):
    for typed in ({}, shown_facts(planned.facts), dict.fromkeys(FIELDS, "  ")):
        found = changed(planned, **typed)
        assert found.changed == ()
        assert found.outcome is planned.outcome
        assert found.words == ""


def test_a_change_that_matters_not_is_no_real_difference(planned):
    found = changed(planned, temperature="20.001")
    assert found.changed == ("temperature",)
    assert found.words == "no real difference here"


@pytest.mark.parametrize(
    ("typed", "way"),
    [
        ({"temperature": "26"}, "sooner"),
        ({"temperature": "57 F"}, "later"),
        ({"nitrogen": "20"}, "later"),
        ({"gravity": "1.050"}, "sooner"),
        ({"gravity": "28 Bx"}, "later"),
        ({"pitch": "0.4"}, "later"),
    ],
)
def test_each_fact_moves_the_ferment_its_way(planned, typed, way):
    found = changed(planned, **typed)
    assert found.changed == tuple(typed)
    assert way in found.words
    sooner = found.outcome.days_to_dry.value < planned.outcome.days_to_dry.value
    assert sooner == (way == "sooner")


def test_the_changed_gravity_is_the_one_forecast(planned):
    found = changed(planned, gravity="1.120")
    assert float(found.outcome.gravity.p50[0]) == pytest.approx(1.120, abs=0.002)
    assert found.dry_gravity < planned.plan.must.dry_gravity.value
    assert any("stay as planned" in note for note in found.notes)


def test_what_the_plan_keeps_to_is_not_silently_passed(planned):
    more = changed(planned, nitrogen="400")
    assert any("limits of law, labels and stock" in note for note in more.notes)
    less = changed(planned, nitrogen="40")
    assert less.notes == ()
    assert any("outside the usual" in n for n in changed(planned, temperature="40").notes)
    assert any("30 Brix" in n for n in changed(planned, gravity="1.150").notes)


def test_the_same_question_gets_the_same_answer(planned):
    one, other = (changed(planned, temperature="25", nitrogen="100") for _ in range(2))
    assert np.array_equal(one.outcome.gravity.p95, other.outcome.gravity.p95)
    assert one.words == other.words


@pytest.mark.parametrize(
    ("field", "text", "words"),
    [
        ("temperature", "hot", "quantity"),
        ("temperature", "-3", "0 to 45"),
        ("temperature", "46", "0 to 45"),
        ("temperature", "3 kg", "temperature"),
        ("pitch", "0", "g of dry yeast"),
        ("pitch", "9 kg", "g of dry yeast"),
        ("pitch", "20 C", "g of dry yeast"),
        ("pitch", "1e999", "quantity"),
        ("nitrogen", "-1", "0 to 1000"),
        ("nitrogen", "1001", "0 to 1000"),
        ("nitrogen", "5 g", "0 to 1000"),
        ("gravity", "0.99", "1.005"),
        ("gravity", "1.9", "1.005"),
        ("gravity", "95 Bx", "1.005"),
        ("gravity", "nan", "quantity"),
    ],
)
def test_wrong_input_names_its_field_and_leaves_the_plans_value(planned, field, text, words):
    facts, errors = read_facts(planned, {field: text, "pitch" if field != "pitch" else "x": "6"})
    assert list(errors) == [field]
    assert errors[field].field == field
    assert words in str(errors[field])
    assert getattr(facts, field) == getattr(planned.facts, field)
    if field != "pitch":
        assert facts.pitch == 6


def test_every_end_of_every_slider_can_be_forecast(planned):
    for name, slide in slides(planned.facts).items():
        assert slide.low <= getattr(planned.facts, name) <= slide.high
        for end in (slide.low, slide.high):
            found = changed(planned, **{name: f"{end:g}"})
            assert found.outcome.residual_sugar_g_l.value >= 0


def test_every_highest_value_can_be_forecast(planned):
    facts, errors = read_facts(planned, {"gravity": "9"})
    highest = str(errors["gravity"]).split(" to ")[1].split(",")[0]
    found = changed(planned, gravity=highest, temperature="45", pitch="100", nitrogen="1000")
    assert np.isfinite(found.outcome.gravity.p50).all()
    assert facts == planned.facts


def test_a_plan_that_feeds_nothing_cannot_be_fed_more(sheet):
    rich = sheet + "[measured]\nyan_mg_l = 400\n"
    planned = planned_forecast(plan(rich, "everything_at_pitch"), 64)
    assert planned.facts.nitrogen == 0
    _, errors = read_facts(planned, {"nitrogen": "50"})
    assert "no feed to enlarge" in str(errors["nitrogen"])
    assert changed(planned, temperature="25").changed == ("temperature",)


def test_without_sugar_there_is_nothing_to_ask():
    text = '[must]\nvolume = "5 L"\n[[must.ingredient]]\nkind = "water"\namount = "5 L"\n'
    with pytest.raises(InputError, match="needs sugar"):
        planned_forecast(plan(text))


def test_facts_are_those_of_the_plan(planned):
    assert planned.facts == Facts(
        20.0,
        pytest.approx(5.0),
        planned.plan.plan.nitrogen.added_mg_l.value,
        planned.plan.must.gravity.value,
    )
