"""Gravity scales, hydrometer and refractometer against published tables."""

from pathlib import Path

import pytest
from scipy.interpolate import CubicSpline

from mustwright.constants import AIR_DENSITY_KG_M3, KG_PER_POUND, LITRES_PER_US_GALLON
from mustwright.must.density import sucrose_solution_density_kg_m3
from mustwright.must.gravity import (
    brix_from_gravity,
    gravity_from_brix,
    gravity_from_density,
    plato_from_gravity_asbc,
)
from mustwright.must.instruments import hydrometer_from_gravity, liquid_density_kg_m3
from mustwright.must.refraction import (
    brix_at_20c_from_refractometer,
    brix_from_refractive_index,
    honey_density_kg_l_from_moisture,
    honey_moisture_pct_from_refractive_index,
    refractive_index_from_brix,
)

VALUES = Path(__file__).parent / "values"


@pytest.mark.rows("nbs_c440.csv", "apparent SG 20/20")
def test_gravity_of_brix(row, agree):
    agree(row, gravity_from_brix(row["brix"]))


@pytest.mark.rows("nbs_c440.csv", "Brix from apparent SG")
def test_brix_of_gravity(row, agree):
    agree(row, brix_from_gravity(row["sg"]))


@pytest.mark.rows("nbs_c440.csv", "weight of one US gallon")
def test_pounds_per_us_gallon_in_air(row, agree):
    """What a balance with brass weights (8400 kg/m3) shows for a US gallon in air."""
    density = float(sucrose_solution_density_kg_m3(row["brix"] / 100))
    apparent = (density - AIR_DENSITY_KG_M3) / (1 - AIR_DENSITY_KG_M3 / 8400)
    agree(row, apparent / 1000 * LITRES_PER_US_GALLON / KG_PER_POUND)


@pytest.mark.rows("asbc.csv", "Plato from apparent SG")
def test_plato_polynomial(row, agree):
    agree(row, plato_from_gravity_asbc(row["sg"]))


@pytest.mark.rows("asbc.csv", "apparent SG 20/20 from Plato")
def test_gravity_of_plato(row, agree):
    low, high = 1.0, 1.2
    for _ in range(60):
        middle = (low + high) / 2
        below = float(plato_from_gravity_asbc(middle)) < row["plato"]
        low, high = (middle, high) if below else (low, middle)
    agree(row, low)


def _icumsa_brix(gravity: float) -> float:
    """Brix on the scale of the density polynomial alone, by halving."""
    low, high = -0.1, 0.5
    for _ in range(60):
        w = (low + high) / 2
        below = float(gravity_from_density(liquid_density_kg_m3(w, 20.0))) < gravity
        low, high = (w, high) if below else (low, w)
    return 100 * low


@pytest.mark.rows("icumsa_hydrometer.csv")
def test_hydrometer_marked_in_brix(row, agree):
    true = float(gravity_from_density(liquid_density_kg_m3(row["true_brix"] / 100, 20.0)))
    reading = float(hydrometer_from_gravity(true, row["temp_c"]))
    agree(row, row["true_brix"] - _icumsa_brix(reading))


@pytest.mark.rows("oiv_as2_02_refractometer.csv")
def test_refractometer_temperature(row, agree):
    """Every row of the table in the data as printed, and the knots of the interpolation."""
    agree(row, float(brix_at_20c_from_refractometer(row["brix"], row["temp_c"])) - row["brix"])


@pytest.mark.rows("icumsa_sps3_refraction.csv")
def test_refractive_index_both_ways(row, agree):
    """Recalled rows are the knots of our spline; `test_spline_between_recalled_rows` holds out."""
    agree(row, refractive_index_from_brix(row["brix"]))
    assert float(brix_from_refractive_index(row.value)) == pytest.approx(row["brix"], abs=1e-8)


def test_spline_between_recalled_rows(rows_of):
    """Each inner row from a spline through the others: the recalled figures are smooth to 1e-5."""
    rows = rows_of(VALUES / "icumsa_sps3_refraction.csv")
    brix, index = [r["brix"] for r in rows], [r.value for r in rows]
    for i in range(2, len(rows) - 2):
        others = CubicSpline(brix[:i] + brix[i + 1 :], index[:i] + index[i + 1 :])
        assert float(others(brix[i])) == pytest.approx(index[i], abs=1e-5)


@pytest.mark.rows("aoac_969_38b_honey.csv", "refractive index nD20 of honey")
def test_honey_moisture_table(row, agree):
    """The index of which the formula gives the row's moisture."""
    low, high = 1.47, 1.51
    for _ in range(60):
        n = (low + high) / 2
        drier = 10 ** (-0.26810 - 0.002243 * row["moisture"]) + 1
        low, high = (n, high) if n < drier else (low, n)
    agree(row, low)
    ours = float(honey_moisture_pct_from_refractive_index(low))
    assert ours == pytest.approx(row["moisture"], abs=1e-9)


@pytest.mark.rows("aoac_969_38b_honey.csv", "Wedmore")
def test_honey_moisture_formula(row, agree):
    agree(row, honey_moisture_pct_from_refractive_index(row["n"]))


@pytest.mark.rows("aoac_969_38b_honey.csv", "RI correction")
def test_honey_temperature_coefficient(row, agree):
    at_25 = float(honey_moisture_pct_from_refractive_index(1.4915, 25.0))
    index = 10 ** (-0.26810 - 0.002243 * at_25) + 1
    agree(row, (index - 1.4915) / 5)


@pytest.mark.rows("white_honey_gravity.csv")
def test_honey_gravity(row, agree):
    moisture = row["moisture"] if "moisture" in row.given else float(row.quantity.split()[-3])
    value, low, high = honey_density_kg_l_from_moisture(moisture)
    water = float(sucrose_solution_density_kg_m3(0.0)) / 1000
    agree(row, value / water)
    assert low <= row.value * water <= high
