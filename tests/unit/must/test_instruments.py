"""Hydrometer corrections: identities, round trips and directions."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mustwright.must.density import must_density_kg_m3, sucrose_solution_density_kg_m3
from mustwright.must.instruments import (
    CALIBRATIONS_C,
    gravity_from_hydrometer,
    hydrometer_from_gravity,
    liquid_density_kg_m3,
)

GRAVITY = st.floats(0.975, 1.25)
TEMPERATURE = st.floats(0, 40)
CALIBRATION = st.sampled_from(CALIBRATIONS_C)
ALCOHOL = st.floats(0, 20)


@settings(deadline=None)
@given(GRAVITY)
def test_at_its_own_temperature_it_is_right(reading):
    assert float(gravity_from_hydrometer(reading, 20.0)) == pytest.approx(reading, abs=1e-12)


@settings(deadline=None)
@given(GRAVITY, TEMPERATURE, CALIBRATION, ALCOHOL)
def test_there_and_back(gravity, temperature_c, calibration_c, pct):
    reading = hydrometer_from_gravity(gravity, temperature_c, calibration_c, pct)
    back = gravity_from_hydrometer(reading, temperature_c, calibration_c, pct)
    assert float(back) == pytest.approx(gravity, abs=1e-10)


@settings(deadline=None)
@given(GRAVITY, CALIBRATION, ALCOHOL, st.floats(20.5, 39))
def test_warm_must_reads_low(gravity, calibration_c, pct, temperature_c):
    warm = hydrometer_from_gravity(gravity, temperature_c, calibration_c, pct)
    warmer = hydrometer_from_gravity(gravity, temperature_c + 1, calibration_c, pct)
    assert warmer < warm


def test_water_by_hand():
    """In water at 30 °C a 20/20 hydrometer reads the ratio of densities, glass and air allowed."""
    cold, warm = (float(sucrose_solution_density_kg_m3(0.0, t)) for t in (20.0, 30.0))
    by_hand = (warm * (1 + 25e-6 * 10) - 1.2) / (cold - 1.2)
    assert float(hydrometer_from_gravity(1.0, 30.0)) == pytest.approx(by_hand, abs=3e-6)


def test_sixty_fahrenheit_basis():
    """In water at 15.56 °C a 60/60 °F hydrometer reads 1.000 and the gravity 20/20 is 1.000."""
    assert float(gravity_from_hydrometer(1.0, 15.56, 15.56)) == pytest.approx(1.0, abs=1e-6)
    at_20 = float(gravity_from_hydrometer(1.1, 20.0, 15.56))
    assert 1.1005 < at_20 < 1.1010


def test_glass_expansion_counts():
    plain = float(gravity_from_hydrometer(1.1, 30.0, glass_expansion_per_k=0.0))
    glass = float(gravity_from_hydrometer(1.1, 30.0))
    assert plain - glass == pytest.approx(1.1 * 25e-6 * 10, rel=0.05)


@settings(deadline=None)
@given(st.floats(0, 0.65), ALCOHOL)
def test_at_20_it_is_the_must_density(w, pct):
    extract = w * float(sucrose_solution_density_kg_m3(w))
    expected = float(must_density_kg_m3(extract, pct * 7.8924))
    assert float(liquid_density_kg_m3(w, 20.0, pct)) == pytest.approx(expected, abs=1e-9)


def test_no_kink_at_water():
    w = np.array([-1e-6, 0.0, 1e-6])
    low, middle, high = liquid_density_kg_m3(w, 20.0)
    assert high - middle == pytest.approx(middle - low, rel=1e-3)


def test_many_readings_at_once():
    read = gravity_from_hydrometer([1.0, 1.05, 1.1], [15.0, 20.0, 25.0])
    assert read.shape == (3,)
    assert read[1] == pytest.approx(1.05)
    assert read[0] < 1.0 < 1.1 < read[2]
