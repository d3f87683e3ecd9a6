"""What would matter most: each thing moved a step under the same members, then a sentence."""

import math

import pytest
import tomlkit

from musts import sheet
from mustwright.planning.levers import MATTERS, hardly_matters, levers_of, with_levers
from mustwright.planning.plan import compare, plan
from mustwright.planning.plan_forecast import foresee_comparison, foresee_plan
from mustwright.planning.plan_json import plan_data

pytestmark = pytest.mark.usefixtures("forecasts")
SHELF = {"dap": True, "autolysed_yeast": True}
NAMES = {"yeast", "sugar", "nitrogen", "pitch", "temperature", "potassium_and_ph", "aeration"}
PROTOCOLS = ["halves_at_onset_and_third", "staged_for_strong_musts", "everything_at_pitch"]


def text_of(gravity, **tables):
    return tomlkit.dumps(sheet(gravity, "19 L", shelf=SHELF, **tables))


@pytest.fixture(scope="module")
def strong():
    return foresee_comparison(compare(text_of("1.140"), PROTOCOLS))


def test_at_1140_yeast_and_sugar_matter_and_the_protocol_hardly_does(strong):
    found = with_levers(strong).levers
    gained = {
        one.name: one.chance_of_dry.value - found.as_planned.chance_of_dry.value
        for one in found.moved
    }
    assert {"yeast", "sugar"} == {name for name, gain in gained.items() if gain >= MATTERS}
    assert hardly_matters(strong)
    assert found.words.startswith("On this must the yeast and the sugar matter most")
    assert "the protocol hardly does" in found.words
    assert found.moved[0].name == "yeast"


def test_every_lever_is_named_and_none_is_without_effect():
    # at 1.140 one run in forty gets dry, and a lever may leave the same runs dry
    found = levers_of(foresee_plan(plan(text_of("1.120"), PROTOCOLS[0])))
    assert {one.name for one in found.moved} == NAMES

    def told(one):
        return one.chance_of_dry.value, one.days_to_dry.value, one.days_to_dry.low

    for one in found.moved:
        assert told(one) != told(found.as_planned), one.name


def test_as_planned_is_the_plans_own_forecast(strong):
    result = with_levers(strong)
    planned = result.levers.as_planned
    assert planned.days_to_dry.value == result.outcome.days_to_dry.value
    assert planned.chance_of_dry.value <= 1 - result.outcome.chance_of_sticking.value + 1e-9


def test_a_must_that_gets_dry_anyway_is_said_to():
    result = foresee_plan(plan(text_of("1.070"), "halves_at_onset_and_third"))
    found = levers_of(result)
    assert found.words.startswith("It gets dry in")
    assert "protocol" not in found.words  # one plan alone says nothing of the others
    days = [one.days_to_dry.value for one in found.moved]
    assert days == sorted(days)
    assert all(math.isfinite(one) for one in days)


@pytest.mark.parametrize(("temperature", "way"), [("20 C", "23 °C"), ("27 C", "24 °C")])
def test_warmer_where_the_yeast_bears_it_else_cooler(temperature, way):
    result = plan(text_of("1.070", temperature=temperature), "halves_at_onset_and_third")
    found = {one.name: one for one in levers_of(result, members=64).moved}
    assert way in found["temperature"].change


def test_json_has_the_levers_with_their_figures(strong):
    data = plan_data(with_levers(strong))
    assert data["levers_in_words"]
    assert data["levers"][0]["name"] == "as_planned"
    for one in data["levers"]:
        assert set(one) == {"name", "change", "chance_of_dry", "days_to_dry", "ranges"}


def test_water_has_no_levers():
    water = '[must]\nvolume = "5 L"\n[[must.ingredient]]\nkind = "water"\namount = "5 L"\n'
    assert levers_of(plan(water)) is None


def test_where_nitrogen_is_short_it_matters_most():
    shelf = {"autolysed_yeast": {"label_max_g_l": 0.4}}
    hungry = plan(tomlkit.dumps(sheet("1.100", "20 L", shelf=shelf)), PROTOCOLS[0])
    found = levers_of(foresee_plan(hungry))
    assert found.moved[0].name == "nitrogen"
    needed = hungry.plan.nitrogen
    assert f"{needed.added_mg_l.value + needed.short_mg_l.value:.0f} mg N/L fed" in found.words
    assert found.words.startswith("On this must the nitrogen")
    unfed = levers_of(foresee_plan(plan(text_of("1.100"), "no_feed")))
    assert unfed.words.startswith("The yeast gets too little nitrogen")


@pytest.mark.parametrize(
    ("tables", "offered"),
    [
        ({"measured": {"ph": 3.8}}, True),
        ({"measured": {"ph": 4.9}}, False),  # a salt would not bring it down
        ({"measured": {"ph": 3.2}, "legal": {"profile": "us"}}, False),  # barred, says the plan
    ],
)
def test_a_salt_is_offered_only_where_it_raises_the_ph_and_the_plan_may_have_it(tables, offered):
    found = levers_of(foresee_plan(plan(text_of("1.090", **tables), PROTOCOLS[2]), 64))
    assert ("potassium_and_ph" in {one.name for one in found.moved}) is offered
