"""Refractometer and honey moisture: inverses, identities, directions and bounds."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import cases
from mustwright.errors import ImpossibleError, ValidityWarning
from mustwright.must import refraction as r
from mustwright.must.alcohol import ferment
from mustwright.must.density import ethanol_water_density_kg_m3
from mustwright.must.gravity import sugar_g_l_from_brix


@given(st.floats(0, 60))
def test_refractive_index_there_and_back(brix):
    back = r.brix_from_refractive_index(r.refractive_index_from_brix(brix))
    assert float(back) == pytest.approx(brix, abs=1e-9)


def test_refractive_index_rises_smoothly():
    n = r.refractive_index_from_brix(np.linspace(0, 80, 801))
    assert np.all(np.diff(n) > 0)
    assert np.all(np.diff(n, 2) > 0)


@given(st.floats(0, 55))
def test_composition_without_alcohol_is_the_sucrose_table(brix):
    n = r.refractive_index_from_composition(sugar_g_l_from_brix(brix), 0.0)
    assert float(n) == pytest.approx(float(r.refractive_index_from_brix(brix)), abs=3e-6)


@pytest.mark.parametrize(("pct_mass", "recalled"), [(5, 1.3363), (10, 1.3395), (20, 1.3469)])
def test_spirit_beside_recalled_indices(pct_mass, recalled):
    """nD20 of ethanol-water, recalled (CRC handbook): 0.0003 is 0.2 Brix, the error we state."""
    density = float(ethanol_water_density_kg_m3(pct_mass / 100))
    n = float(r.refractive_index_from_composition(0.0, density * pct_mass / 100))
    assert n == pytest.approx(recalled, abs=3e-4)


@cases(15)
@given(st.floats(15, 35), st.floats(0.05, 0.95))
def test_finds_back_what_was_fermented(original_brix, share):
    extract = float(sugar_g_l_from_brix(original_brix))
    now = ferment(extract, extract, share * extract)
    n = r.refractive_index_from_composition(now.extract_g_l, now.ethanol_g_l)
    reading = float(r.brix_from_refractive_index(n))
    found = r.fermented_from_refractometer(reading, original_brix)
    assert found.fermented.gravity == pytest.approx(now.gravity, abs=1e-6)
    assert found.fermented.ethanol_pct_vol == pytest.approx(now.ethanol_pct_vol, abs=1e-4)
    assert found.gravity_low < found.fermented.gravity < found.gravity_high
    assert found.ethanol_pct_vol_low < now.ethanol_pct_vol < found.ethanol_pct_vol_high


def test_alcohol_makes_a_dry_must_read_sweet():
    seen = r.fermented_from_refractometer(9.5, 24.0).fermented
    assert seen.gravity < 1.005


@pytest.mark.parametrize("reading", [3.0, 25.0])
def test_impossible_readings_are_refused(reading):
    with pytest.raises(ImpossibleError, match="needs a reading from"):
        r.fermented_from_refractometer(reading, 24.0)


def test_temperature_correction_between_rows_and_columns():
    """Middle of four table figures: 15 and 16 °C at 20 and 25 Brix."""
    middle = float(r.brix_at_20c_from_refractometer(22.5, 15.5)) - 22.5
    assert middle == pytest.approx((-0.34 - 0.35 - 0.28 - 0.28) / 4, abs=1e-12)


@given(st.floats(10, 40))
def test_no_correction_at_20(brix):
    assert float(r.brix_at_20c_from_refractometer(brix, 20.0)) == pytest.approx(brix, abs=1e-12)


@pytest.mark.parametrize(("brix", "temperature_c"), [(5, 15), (41, 15), (35, 8), (20, 4), (20, 26)])
def test_outside_the_table_warns(brix, temperature_c):
    with pytest.warns(ValidityWarning, match="10 to 40 Brix"):
        r.brix_at_20c_from_refractometer(brix, temperature_c)


def test_warm_honey_looks_wetter_than_it_is():
    cold = float(r.honey_moisture_pct_from_refractive_index(1.4915, 20.0))
    warm = float(r.honey_moisture_pct_from_refractive_index(1.4915, 30.0))
    assert warm < cold


def test_honey_outside_the_tables_warns():
    with pytest.warns(ValidityWarning, match="Wedmore"):
        r.honey_moisture_pct_from_refractive_index(1.40)
    with pytest.warns(ValidityWarning, match="moisture outside"):
        r.honey_density_kg_l_from_moisture(25.0)


@given(st.floats(13, 20))
def test_wetter_honey_is_lighter(moisture):
    value, low, high = r.honey_density_kg_l_from_moisture(moisture)
    assert low < value < high
    assert r.honey_density_kg_l_from_moisture(moisture + 1)[0] < value
