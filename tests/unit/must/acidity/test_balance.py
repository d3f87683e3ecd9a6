"""The solver: it closes the charge, rises with base, never fails, and has a plain twin."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from cases import cases
from mustwright.must.acidity.balance import (
    HIGHEST,
    LOWEST,
    Solution,
    base_to_ph,
    buffer_capacity,
    charge_left,
    ionic_cap,
    sid_for_ph,
    solution,
    solve_ph,
    titratable_acid,
)
from mustwright.must.acidity.medium import co2_mol_kg, debye_slope, dielectric_constant
from mustwright.must.acidity.species import must_chemistry

NAMES = [a.id for a in must_chemistry().acids]


def random_rows(seed: int, n: int, scale: float = 0.05) -> Solution:
    rng = np.random.default_rng(seed)
    totals = {name: scale * rng.uniform(0, 1, n) ** 3 for name in NAMES}
    return solution(
        totals,
        rng.uniform(-0.5, 1.5, n) * scale,
        strong=scale * rng.uniform(0, 1, n),
        temperature_c=rng.uniform(0, 40, n),
        ethanol_pct_vol=rng.uniform(0, 18, n),
        sugar_mass_pct=rng.uniform(0, 60, n),
        co2=co2_mol_kg(20.0, rng.uniform(0, 1, n)),
        lift=rng.normal(0, 0.1, n),
    )


@pytest.mark.parametrize("scale", [1e-4, 0.02, 0.3])
def test_charge_closes_to_a_billionth(scale):
    rows = random_rows(1, 5000, scale)
    assert np.abs(charge_left(rows, solve_ph(rows))).max() < 1e-9


def test_the_plain_solver_gives_the_same():
    rows = random_rows(2, 4000)
    ph = solve_ph(rows)
    assert np.abs(ph - solve_ph(rows, compiled=False)).max() < 1e-8
    wanted = np.linspace(2, 8, rows.rows)
    plain = sid_for_ph(rows, wanted, compiled=False)
    assert np.abs(sid_for_ph(rows, wanted) - plain).max() < 1e-9


def test_the_guess_changes_nothing():
    rows = random_rows(3, 2000)
    assert np.abs(solve_ph(rows, 2.0) - solve_ph(rows, 9.0)).max() < 1e-8


def test_more_base_is_a_higher_ph():
    rows = random_rows(4, 5000)
    rng = np.random.default_rng(4)
    more = rows.with_base(rng.uniform(1e-4, 0.02, rows.rows))
    assert (solve_ph(more) > solve_ph(rows)).all()


def test_strong_ion_difference_undoes_the_ph():
    rows = random_rows(5, 2000)
    assert np.abs(sid_for_ph(rows, solve_ph(rows)) - rows.sid).max() < 1e-9


def test_base_to_a_ph_brings_it_there():
    rows = random_rows(6, 2000)
    rows = rows.without_gas()
    there = rows.with_base(base_to_ph(rows, 5.5))
    assert solve_ph(there) == pytest.approx(5.5, abs=1e-7)


@cases(150)
@given(
    totals=arrays(float, (8, len(NAMES)), elements=st.floats(0, 5)),
    sid=arrays(float, 8, elements=st.floats(-5, 15)),
    temperature=st.floats(-5, 60),
    ethanol=st.floats(0, 25),
    sugar=st.floats(0, 80),
)
def test_no_must_makes_it_fail(totals, sid, temperature, ethanol, sugar):
    """1200 musts, from pure water to lemon concentrate in lye: a finite pH inside the bracket."""
    rows = solution(
        dict(zip(NAMES, totals.T, strict=True)),
        sid,
        temperature_c=temperature,
        ethanol_pct_vol=ethanol,
        sugar_mass_pct=sugar,
    )
    ph = solve_ph(rows)
    assert np.isfinite(ph).all()
    assert (ph >= LOWEST - 1e-6).all()
    assert (ph <= HIGHEST + 1e-6).all()
    inside = (ph > LOWEST + 0.01) & (ph < HIGHEST - 0.01)
    left = np.abs(charge_left(rows, ph))[inside]
    assert (left < 1e-9 * (1 + np.abs(rows.sid[inside]) + rows.totals[inside].sum(axis=1))).all()


def test_a_titration_curve_against_its_closed_form():
    """In much salt the activity coefficients stand still, so one acid has an exact curve."""
    cap = ionic_cap()
    acid, ph = 0.01, np.linspace(2.5, 9.0, 27)
    rows = solution({"acetic": np.full_like(ph, acid)}, 0.0, strong=1.0)
    root = np.sqrt(cap)
    g = 10 ** (-debye_slope(25.0) * (root / (1 + root) - 0.3 * cap))
    h = 10.0**-ph
    ka, kw = 10**-4.757 / g, 10**-13.995 / g
    exact = acid * ka / (ka + h) + kw / h - h / g
    assert base_to_ph(rows, ph) == pytest.approx(exact, abs=1e-12)
    assert solve_ph(rows.with_base(exact)) == pytest.approx(ph, abs=1e-7)


def test_buffer_capacity_of_one_acid_at_its_pk_is_0_576_of_it():
    """Van Slyke's value, ln 10 / 4 of the acid (closed form)."""
    rows = solution({"acetic": 0.01}, 0.005, strong=1.0)
    assert buffer_capacity(rows)[0] / 0.01 == pytest.approx(np.log(10) / 4, rel=0.02)


def test_titratable_acid_of_known_solutions():
    """Ten mmol/kg each: one proton of acetic, two of tartaric; less to 7.0 than to 8.2."""
    assert titratable_acid(solution({"acetic": 0.01}))[0] == pytest.approx(0.01, rel=0.002)
    assert titratable_acid(solution({"tartaric": 0.01}))[0] == pytest.approx(0.02, rel=0.002)
    must = solution({"gluconic": 0.01, "phosphoric": 0.002}, 0.003)
    assert titratable_acid(must, 7.0)[0] < titratable_acid(must, 8.2)[0]


def test_alcohol_lifts_the_ph_and_only_as_far_as_it_was_measured():
    at = [
        float(solve_ph(solution({"lactic": 0.02}, 0.01, ethanol_pct_vol=e))[0])
        for e in (0.0, 12.0, 16.0)
    ]
    assert 0.14 < at[1] - at[0] < 0.22
    assert abs(at[2] - at[1]) < 0.01


def test_gas_sours_water_to_about_3_9():
    """Water under one atmosphere of CO2 stands at pH 3.91 to 3.93 at 25 C (closed form)."""
    rows = solution({}, 0.0, co2=co2_mol_kg(25.0))
    exact = -np.log10(np.sqrt(10**-6.351 * float(co2_mol_kg(25.0))))
    assert solve_ph(rows)[0] == pytest.approx(exact, abs=0.01)


def test_dielectric_constant_falls_with_alcohol_and_sugar():
    assert dielectric_constant(20.0, 12.0) < dielectric_constant(20.0)
    assert dielectric_constant(20.0, 0.0, 25.0) < dielectric_constant(20.0)
    assert debye_slope(20.0, 12.0) > debye_slope(20.0)
