"""Densities: the shortcuts against the full formulas, and what must always hold."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mustwright.errors import ValidityWarning
from mustwright.must.density import (
    ethanol_mass_fraction_from_pct_vol,
    ethanol_pct_vol_from_mass_fraction,
    ethanol_water_density_kg_m3,
    must_density_at,
    must_density_kg_m3,
    sucrose_solution_density_kg_m3,
    water_density_kg_m3,
)

POLYNOMIAL_LIMIT_KG_M3 = 0.001


def test_spirit_shortcut_against_full_formula():
    ethanol_g_l = np.linspace(0, 200, 1001)
    full = ethanol_water_density_kg_m3(ethanol_mass_fraction_from_pct_vol(ethanol_g_l / 7.8924))
    assert np.max(np.abs(must_density_kg_m3(0.0, ethanol_g_l) - full)) < POLYNOMIAL_LIMIT_KG_M3


def test_extract_shortcut_against_full_formula():
    """Without alcohol the OIV2012 relation scales the excess over water by 1/1.00180 / 0.998203."""
    w = np.linspace(0, 0.68, 1001)
    full = sucrose_solution_density_kg_m3(w)
    water = float(sucrose_solution_density_kg_m3(0.0))
    spirit_zero = float(must_density_kg_m3(0.0, 0.0))
    expected = spirit_zero + (full / water - 1) * 1000 / 1.00180
    assert np.max(np.abs(must_density_kg_m3(w * full, 0.0) - expected)) < POLYNOMIAL_LIMIT_KG_M3
    assert np.max(np.abs(must_density_kg_m3(w * full, 0.0) - full)) < 0.005


@pytest.mark.parametrize("pct_vol", [0.0, 0.01, 1.0, 12.0, 50.0, 99.9, 100.0])
def test_spirit_strength_there_and_back(pct_vol):
    p = ethanol_mass_fraction_from_pct_vol(pct_vol)
    assert float(ethanol_pct_vol_from_mass_fraction(p)) == pytest.approx(pct_vol, abs=1e-9)


def test_pure_ethanol_is_100_pct_vol():
    assert float(ethanol_pct_vol_from_mass_fraction(1.0)) == pytest.approx(100.0, abs=1e-12)
    assert float(ethanol_mass_fraction_from_pct_vol(100.0)) == pytest.approx(1.0, abs=1e-9)


@given(st.floats(0, 0.69), st.floats(0.001, 0.01), st.floats(0, 60))
def test_more_sugar_is_denser(w, more, temperature_c):
    lighter = sucrose_solution_density_kg_m3(w, temperature_c)
    assert sucrose_solution_density_kg_m3(w + more, temperature_c) > lighter


@given(st.floats(0, 600), st.floats(0, 190), st.floats(0.1, 10))
def test_more_alcohol_is_lighter(extract_g_l, ethanol_g_l, more):
    heavier = must_density_kg_m3(extract_g_l, ethanol_g_l)
    assert must_density_kg_m3(extract_g_l, ethanol_g_l + more) < heavier


def test_water_is_densest_at_four_degrees():
    t = np.arange(0, 40.5, 0.5)
    assert t[np.argmax(water_density_kg_m3(t))] == 4.0


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (water_density_kg_m3, (41.0,)),
        (sucrose_solution_density_kg_m3, (0.71,)),
        (sucrose_solution_density_kg_m3, (0.2, 61.0)),
        (ethanol_water_density_kg_m3, (0.5, 41.0)),
        (ethanol_water_density_kg_m3, (-0.01,)),
    ],
)
def test_outside_the_published_range_warns(function, arguments):
    with pytest.warns(ValidityWarning, match="outside"):
        function(*arguments)


@given(st.floats(0, 900), st.floats(0, 200))
def test_one_liquid_in_plain_numbers_is_the_same(extract_g_l, ethanol_g_l):
    whole = must_density_kg_m3([extract_g_l, 100.0], [ethanol_g_l, 50.0])
    assert must_density_at(extract_g_l, ethanol_g_l) == whole[0]
