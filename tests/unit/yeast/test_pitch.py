"""Pitching: rates, rehydration, and a checklist whose cooling is never too steep."""

import re
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import cases
from musts import ground, sheet
from mustwright import data
from mustwright.errors import InputError, UnknownKindError
from mustwright.figure import ASSUMED, Figure
from mustwright.unit_hints import one_way
from mustwright.unit_system import METRIC
from mustwright.yeast.pitch import plan_pitch, strain_called, strains

STEP_C = 10
WARMEST_C = 40


def figure(value, unit):
    return Figure(value, unit, "given", ASSUMED)


def pitched(brix=24.0, litres=19.0, typed=None, temperature=20.0, jar="Wake-up jar", most=None):
    return plan_pitch(
        strain_called("low-demand neutral"),
        typed,
        figure(litres, "L"),
        figure(brix, "Brix"),
        temperature,
        jar,
        most,
    )


def detail(pitch, title):
    return next(step.detail for step in pitch.steps if step.title == title)


@pytest.mark.parametrize(
    ("brix", "g_l"),
    [(5, 0.25), (24, 0.25), (24.001, 0.25), (24.2, 0.30), (27, 0.30), (29, 0.40), (33, 0.50)],
)
def test_yeast_by_gravity_class(brix, g_l):
    pitch = pitched(brix)
    assert pitch.yeast_g.value == pytest.approx(g_l * 19)
    assert pitch.yeast_g.low <= pitch.yeast_g.value <= pitch.yeast_g.high


def test_checklist_amounts_are_those_of_the_plan():
    pitch = pitched(typed=5.0)
    assert "125 mL" in detail(pitch, "Water")
    assert "6.2 g of Wake-up jar" in detail(pitch, "Rehydration nutrient")
    assert "5.0 g of yeast" in detail(pitch, "Yeast")
    assert pitch.water_ml.value == pytest.approx(20 * 6.25)
    assert [s.title for s in pitch.steps] == [
        "Water", "Rehydration nutrient", "Yeast", "Cool by steps", "Pitch",
    ]  # fmt: skip


def test_without_a_jar_water_goes_by_the_yeast():
    pitch = pitched(typed=5.0, jar=None)
    assert pitch.rehydration_nutrient_g.value == 0
    assert pitch.water_ml.value == pytest.approx(50)
    assert "Rehydration nutrient" not in [s.title for s in pitch.steps]


def test_what_is_allowed_holds_the_nutrient_back():
    pitch = pitched(typed=5.0, most=3.0)
    assert pitch.rehydration_nutrient_g.value == 3.0
    assert pitch.rehydration_nutrient_g.inputs["wanted_g"].value == pytest.approx(6.25)
    assert pitched(typed=5.0, most=7.0).rehydration_nutrient_g.value == pytest.approx(6.25)


@cases(300)
@given(st.floats(0, 45))
def test_no_cooling_step_is_steeper_than_allowed(must_c):
    """From the warmest water allowed down to the must, every printed stop counted."""
    text = detail(pitched(temperature=must_c), "Cool by steps")
    listed = text.split(", so that")[0] if ", so that" in text else ""
    stops = [float(x) for x in re.findall(r"(-?\d+) °C", listed)]
    drops = [a - b for a, b in pairwise([WARMEST_C, *stops, must_c])]
    assert max(drops) <= STEP_C + 0.5  # stops are printed to the degree
    assert all(drop > 0 for drop in drops[:-1])


@pytest.mark.parametrize(("must_c", "steps"), [(4, 4), (20, 2), (30, 0), (35, 0)])
def test_how_many_steps(must_c, steps):
    text = detail(pitched(temperature=must_c), "Cool by steps")
    said = re.search(r"again: (\d+) step", text)
    assert (int(said[1]) if said else 0) == steps


def test_a_fahrenheit_must_is_not_shown_to_six_digits():
    pitch = ground(sheet(temperature="65 F")).setting.pitch
    assert "18.3 °C" in detail(pitch, "Pitch")
    assert "18.33" not in " ".join(s.detail for s in pitch.steps)


def test_small_amounts_are_not_shown_as_nothing():
    pitch = ground(sheet(volume="0.1 L")).setting.pitch
    assert "0.025 g of yeast" in detail(pitch, "Yeast")
    assert "0.62 mL" in detail(pitch, "Water") or "0.63 mL" in detail(pitch, "Water")


def test_heat_and_ammonium_are_cautioned_where_the_hand_is():
    pitch = pitched()
    by_title = {s.title: s.caution for s in pitch.steps}
    cautions = data.load("cautions")
    assert by_title["Water"] == cautions["hot_water"]["text"]
    assert by_title["Yeast"] == one_way(cautions["yeast_heat"]["text"], METRIC)
    assert "ammonium" in by_title["Rehydration nutrient"]


@pytest.mark.parametrize(
    ("typed", "identity"),
    [
        ("low-demand neutral", "low_demand_neutral"),
        ("Neutral low demand yeast", "low_demand_neutral"),
        ("ale yeast", "ale_type"),
        ("medium demand", "medium_demand_all_round"),
        ("very high demand", "very_high_demand"),
        ("high demand", "high_demand_aromatic"),
        ("alcohol tolerant", "alcohol_tolerant_low_demand"),
    ],
)
def test_yeasts_as_people_name_them(typed, identity):
    assert strain_called(typed).id == identity


@pytest.mark.parametrize("kind", ["moon yeast", "x"])
def test_an_unknown_yeast_lists_the_known(kind):
    with pytest.raises(UnknownKindError) as error:
        strain_called(kind)
    assert all(s.name in error.value.requirement for s in strains().values())


@pytest.mark.parametrize("kind", [None, 3, "", []])
def test_what_is_no_yeast_is_refused(kind):
    with pytest.raises(InputError):
        strain_called(kind)
