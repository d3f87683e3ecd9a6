"""How amounts are said: each system gives the same figure back, within its rounding."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import cases
from mustwright.errors import InputError
from mustwright.unit_hints import example, one_way, with_unit
from mustwright.unit_system import (
    IMPERIAL,
    METRIC,
    NAMED,
    US,
    UnitSystem,
    choosing,
    current,
    degrees,
    mass,
    short_volume,
    speaking_of,
    system_called,
    typed_units,
    units_of,
    volume,
)
from mustwright.units import parse_quantity

SYSTEMS = list(NAMED.values())
US_SHEET = '[must]\nvolume = "5 US gal"\ntemperature = "65 F"'


@cases(150)
@given(st.floats(0.05, 500), st.sampled_from(SYSTEMS))
def test_a_volume_reads_back_within_its_rounding(litres, system):
    said = volume(litres, system, 2)
    assert parse_quantity(said, "x").value == pytest.approx(litres, rel=6e-3, abs=6e-3)
    assert parse_quantity(short_volume(litres, system), "x").value == pytest.approx(
        litres, rel=6e-3, abs=6e-3
    )


@cases(150)
@given(st.floats(0.05, 500), st.sampled_from(SYSTEMS))
def test_a_weight_reads_back_within_half_an_ounce_or_ten_grams(kg, system):
    assert parse_quantity(mass(kg, system), "x").value == pytest.approx(kg, abs=0.0145)


@cases(100)
@given(st.floats(-5, 110), st.sampled_from(SYSTEMS))
def test_a_temperature_reads_back_within_its_rounding(celsius, system):
    assert parse_quantity(degrees(celsius, system), "x").value == pytest.approx(celsius, abs=0.051)


def test_an_imperial_gallon_is_no_us_gallon():
    assert volume(18.184, IMPERIAL) == "4 imp gal"
    assert volume(18.184, US) == "4.8 US gal"
    assert parse_quantity("4 imp gal", "x").value / parse_quantity("4 US gal", "x").value == (
        pytest.approx(1.20095, rel=1e-5)
    )
    assert parse_quantity("20 imp fl oz", "x").value == pytest.approx(
        parse_quantity("1 imp pt", "x").value
    )


@pytest.mark.parametrize(
    ("must", "key"),
    [
        ('volume = "19 L"', "L/kg/C"),
        ("volume = 19", "L/kg/C"),
        ('volume = "5 US gal"', "US gal/lb/F"),
        ('volume = "5 gal"\ntemperature = "20 C"', "US gal/lb/C"),
        ('volume = "4 imp gal"', "imp gal/lb/C"),
        ('volume = "19 L"\ntemperature = "68 F"', "L/kg/F"),
        ('volume = "5 US gal"\ningredient = [{kind = "honey", amount = "7 kg"}]', "US gal/kg/F"),
        ('volume = "20 L"\ningredient = [{kind = "honey", amount = "15 lb 4 oz"}]', "L/lb/C"),
        ("volume = [1]", "L/kg/C"),
        ("ingredient = 3", "L/kg/C"),
        ("broken", "L/kg/C"),
    ],
)
def test_a_sheet_tells_its_own_system(must, key):
    assert typed_units(f"[must]\n{must}").key == key


def test_what_is_chosen_comes_before_the_sheet_and_ends_with_its_block():
    assert units_of(US_SHEET) == US
    with choosing(METRIC):
        assert units_of(US_SHEET) == METRIC
        with choosing(None):
            assert units_of(US_SHEET) == US
    with speaking_of(US_SHEET):
        assert current() == US
    assert current() == METRIC


def test_a_system_is_kept_and_found_again_and_nonsense_is_refused():
    for system in (*SYSTEMS, UnitSystem("L", "lb", "F")):
        assert system_called(system.key) == system
    for wrong in ("", "L/kg", "L/kg/K", "gal/kg/C", "US"):
        with pytest.raises(InputError):
            system_called(wrong)


def test_small_amounts_take_small_units():
    assert [volume(x, US) for x in (3.8, 1.0, 0.1)] == ["1 US gal", "1.06 US qt", "3.38 US fl oz"]
    assert [volume(x, IMPERIAL) for x in (1.0, 0.1)] == ["1.76 imp pt", "3.52 imp fl oz"]
    assert [mass(x, US) for x in (6.97, 0.4535, 0.01, 0.0)] == [
        "15 lb 6 oz", "1 lb", "0.4 oz", "0 oz",
    ]  # fmt: skip


def test_hints_and_kept_sentences_are_in_one_system():
    both = "at most 2 to 3 °C (4 to 5 °F) in a few hours"
    assert one_way(both, METRIC) == "at most 2 to 3 °C in a few hours"
    assert one_way(both, US) == "at most 4 to 5 °F in a few hours"
    assert example("20 C or 68 F", US) == "68 F"
    assert example("20 C or 68 F", METRIC) == "20 C"
    for hint in ("19 L", "0.3 L", "2 kg", "4 C"):
        assert not re.search(r"\b(L|kg|C)\b", example(hint, US))
    assert with_unit("65", "temperature", US) == "65 F"
    assert with_unit("65 F", "temperature", METRIC) == "65 F"
