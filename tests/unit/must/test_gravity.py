"""Gravity scales: round trips, order, and their joints."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mustwright.must import gravity as g
from mustwright.must.density import must_density_kg_m3

BRIX = st.floats(0, 60)


@given(BRIX)
def test_brix_there_and_back(brix):
    assert float(g.brix_from_gravity(g.gravity_from_brix(brix))) == pytest.approx(brix, abs=1e-9)


@given(BRIX)
def test_grams_per_litre_there_and_back(brix):
    back = g.brix_from_sugar_g_l(g.sugar_g_l_from_brix(brix))
    assert float(back) == pytest.approx(brix, abs=1e-9)


@given(st.floats(0.96, 1.34))
def test_baume_and_oechsle_there_and_back(gravity):
    baume = g.gravity_from_baume(g.baume_from_gravity(gravity))
    oechsle = g.gravity_from_oechsle(g.oechsle_from_gravity(gravity))
    assert float(baume) == pytest.approx(gravity, abs=1e-12)
    assert float(oechsle) == pytest.approx(gravity, abs=1e-12)


@pytest.mark.parametrize(
    "scale",
    [g.brix_from_gravity, g.plato_from_gravity_asbc, g.baume_from_gravity, g.oechsle_from_gravity],
)
def test_scales_rise(scale):
    s = np.linspace(0.97, 1.34, 5001)
    assert np.all(np.diff(scale(s)) > 0)


def test_water_reads_zero():
    assert float(g.brix_from_gravity(1.0)) == pytest.approx(0.0, abs=1e-12)
    assert float(g.sugar_g_l_from_brix(0.0)) == 0.0


def test_no_step_where_the_tables_meet():
    below, above = g.gravity_from_brix([40 - 1e-7, 40 + 1e-7])
    assert above - below < 2e-9


def test_mirror_of_the_two_tables_at_no_alcohol():
    """Composition without alcohol gives the gravity of the same Brix (its promise: 0.0001)."""
    brix = np.linspace(0, 60, 121)
    ours = g.gravity_from_composition(g.sugar_g_l_from_brix(brix), 0.0)
    assert np.max(np.abs(ours - g.gravity_from_brix(brix))) < 1e-5


@given(st.floats(0, 600), st.floats(0, 190))
def test_apparent_gravity_stays_near_true(extract_g_l, ethanol_g_l):
    """Buoyancy moves a gravity by (S - 1) * 0.0012, the table joint by 0.0001 at most."""
    true = float(must_density_kg_m3(extract_g_l, ethanol_g_l)) / g.WATER_DENSITY_20C_KG_M3
    apparent = float(g.gravity_from_composition(extract_g_l, ethanol_g_l))
    assert abs(apparent - true) < 1.3e-3 * abs(true - 1) + 1.5e-4
