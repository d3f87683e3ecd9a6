"""Quantities as people type them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mustwright.errors import InputError
from mustwright.units import UNITS, in_unit, mass_kg, parse_quantity, temperature_c, volume_l

STRAIGHT = [unit for unit in UNITS if unit.dimension != "gravity"]


@given(st.sampled_from(STRAIGHT), st.floats(0.001, 1e6))
def test_units_there_and_back(unit, typed):
    base = parse_quantity(f"{typed:.12f} {unit.name}", "amount")
    assert base.dimension == unit.dimension
    assert in_unit(base.value, unit.name) == pytest.approx(typed, rel=1e-9, abs=1e-9)


@given(st.sampled_from(UNITS), st.data())
def test_every_spelling_in_any_case(unit, data):
    spelling = data.draw(st.sampled_from(unit.spellings))
    case = data.draw(st.sampled_from([str.lower, str.upper, str.title]))
    same = parse_quantity(f"3 {case(spelling)}", "amount")
    assert (same.dimension, same.unit) == (unit.dimension, unit.name)


@pytest.mark.parametrize(
    ("typed", "value", "dimension"),
    [
        ("15 lb 4 oz", 15.25 * 0.45359237, "mass"),
        ("1 1/2 lb", 1.5 * 0.45359237, "mass"),
        ("5 US gal", 18.92705892, "volume"),
        ("1 imp gal", 4.54609, "volume"),
        ("68 F", 20.0, "temperature"),
        ("293.15 K", 20.0, "temperature"),
        ("8 lb/1000 US gal", 0.958611, "mass concentration"),
        ("8 lb/1000 us gal", 0.958611, "mass concentration"),
        ("1 g/US gal", 0.264172, "mass concentration"),
        ("2 d", 48.0, "time"),
        ("-1.2 Bx", -1.2, "gravity"),
        ("\u22121.2 Bx", -1.2, "gravity"),
        ("1,5 kg", 1.5, "mass"),
        ("0,998", 0.998, "number"),
        ("1.095", 1.095, "number"),
        (19, 19.0, "number"),
    ],
)
def test_as_people_type(typed, value, dimension):
    quantity = parse_quantity(typed, "amount")
    assert quantity.value == pytest.approx(value, abs=1e-6)
    assert quantity.dimension == dimension


def test_us_limit_in_pounds_is_the_limit_in_grams():
    """27 CFR 24.246 prints 8 lb/1000 gal as 0.96 g/L."""
    assert round(parse_quantity("8 lb/1000 US gal", "limit").value, 2) == 0.96


@pytest.mark.parametrize(
    "typed",
    ["", "   ", "abc", "5 parsecs", "1 lb 4 L", "1,500 g", "nan", "inf", "1e999 L", "--5 L",
     True, None, [], {}, "5 L extra", "20 C 5 C", "1 " * 60, "4 / 0 lb", "-1 lb 2 oz"],
)  # fmt: skip
def test_errors_name_the_field(typed):
    with pytest.raises(InputError) as caught:
        parse_quantity(typed, "must.volume")
    assert caught.value.field == "must.volume"
    assert str(caught.value).startswith("must.volume: needs")
    assert "\n" not in str(caught.value)


@given(st.text(max_size=90))
def test_any_text_is_a_quantity_or_an_input_error(text):
    try:
        quantity = parse_quantity(text, "amount")
    except InputError as error:
        field = error.field
    else:
        field = "amount" if math.isfinite(quantity.value) else "not finite"
    assert field == "amount"


def test_a_bare_gallon_is_assumed_and_said():
    litres, assumed = volume_l("5 gal", "must.volume")
    assert litres == pytest.approx(18.927059)
    assert "US gallon" in assumed
    assert volume_l("5", "must.volume") == (5.0, "must.volume: no unit given, read as L")


@pytest.mark.parametrize("typed", ["0 L", "-3 L", "5 kg"])
def test_volume_above_zero(typed):
    with pytest.raises(InputError, match=r"must\.volume: needs a volume above zero"):
        volume_l(typed, "must.volume")


def test_a_bare_mass_is_refused():
    with pytest.raises(InputError, match="needs a mass above zero"):
        mass_kg("5", "honey")


@pytest.mark.parametrize("typed", ["-11 C", "121 C", "500 F", "5 L"])
def test_temperature_bounds(typed):
    with pytest.raises(InputError, match="needs a temperature from -10 to 120 C"):
        temperature_c(typed, "at")


def test_unknown_target_unit_names_the_field():
    with pytest.raises(InputError, match=r"^to: needs a unit this tool knows"):
        in_unit(1.0, "firkin", "to")
