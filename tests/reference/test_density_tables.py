"""Densities of water, sugar solutions and spirits against published tables."""

import pytest

from mustwright.constants import ETHANOL_G_L_PER_PCT_VOL
from mustwright.errors import ValidityWarning
from mustwright.must.density import (
    ETHANOL_DENSITY_20C_KG_M3,
    ethanol_mass_fraction_from_pct_vol,
    ethanol_pct_vol_from_mass_fraction,
    ethanol_water_density_kg_m3,
    sucrose_solution_density_kg_m3,
    water_density_kg_m3,
)


@pytest.mark.rows("oiml_r22.csv", "density of ethanol-water at 20 C")
def test_spirit_density_by_volume(row, agree):
    p = ethanol_mass_fraction_from_pct_vol(row["abv"])
    agree(row, ethanol_water_density_kg_m3(p))


@pytest.mark.rows("oiml_r22.csv", "alcoholic strength by mass")
def test_spirit_mass_strength(row, agree):
    agree(row, 100 * ethanol_mass_fraction_from_pct_vol(row["abv"]))


@pytest.mark.rows("oiml_r22.csv", "alcoholic strength by volume")
def test_spirit_volume_strength(row, agree):
    agree(row, ethanol_pct_vol_from_mass_fraction(row["abw"] / 100))


@pytest.mark.rows("oiml_r22.csv", "density of ethanol-water")
def test_spirit_density_by_mass_and_temperature(row, agree):
    if "abv" in row.given:
        p = float(ethanol_mass_fraction_from_pct_vol(row["abv"]))
        agree(row, ethanol_water_density_kg_m3(p, 20.0))
    else:
        agree(row, ethanol_water_density_kg_m3(row["abw"] / 100, row["temp_c"]))


@pytest.mark.rows("oiml_r22.csv", "OIML R 22 implementation check value")
def test_spirit_check_values(row, agree):
    agree(row, ethanol_water_density_kg_m3(row["mass_fraction"], row["temp_c"]))


@pytest.mark.rows("oiml_r22.csv", "density of pure ethanol")
def test_pure_ethanol(row, agree):
    agree(row, ETHANOL_DENSITY_20C_KG_M3)
    agree(row, ethanol_water_density_kg_m3(1.0))


@pytest.mark.rows("oiml_r22.csv", "ethanol mass concentration")
def test_grams_per_litre_and_pct(row, agree):
    agree(row, ETHANOL_G_L_PER_PCT_VOL)


@pytest.mark.rows("icumsa_sps4.csv", "density of sucrose solution")
def test_sucrose_density(row, agree):
    w, t = row["brix"] / 100, row["temp_c"]
    if w > 0.7:
        with pytest.warns(ValidityWarning, match="sugar_mass_fraction"):
            agree(row, sucrose_solution_density_kg_m3(w, t))
    else:
        agree(row, sucrose_solution_density_kg_m3(w, t))


@pytest.mark.rows("icumsa_sps4.csv", "relative density")
def test_sucrose_relative_density(row, agree):
    water = sucrose_solution_density_kg_m3(0.0)
    agree(row, sucrose_solution_density_kg_m3(row["brix"] / 100) / water)


@pytest.mark.rows("nbs_c440_table113.csv")
def test_plato_table_1900(row, agree):
    if row["brix"] <= 70:
        density = float(sucrose_solution_density_kg_m3(row["brix"] / 100))
    else:
        with pytest.warns(ValidityWarning):
            density = float(sucrose_solution_density_kg_m3(row["brix"] / 100))
    agree(row, density / 1000 * 1.000028)


@pytest.mark.rows("cooley_sugar.csv")
def test_nineteenth_century_scale(row, agree):
    water = float(sucrose_solution_density_kg_m3(0.0, 17.5))
    agree(row, float(sucrose_solution_density_kg_m3(row["pct"] / 100, 17.5)) / water)


@pytest.mark.rows("iapws95_water.csv")
def test_water(row, agree):
    agree(row, water_density_kg_m3(row["temp_c"]))


@pytest.mark.rows("perry7_ethanol.csv")
def test_spirit_against_another_handbook(row, agree):
    agree(row, float(ethanol_water_density_kg_m3(row["abw"] / 100)) / 1000)


def _sixty_f(abv_60f: float) -> float:
    """Mass fraction of a spirit whose strength by volume is meant at 15.56 °C."""
    pure = float(ethanol_water_density_kg_m3(1.0, 15.56))
    low, high = 0.0, 1.0
    for _ in range(60):
        p = (low + high) / 2
        by_volume = 100 * p * float(ethanol_water_density_kg_m3(p, 15.56)) / pure
        low, high = (p, high) if by_volume < abv_60f else (low, p)
    return (low + high) / 2


def _in_air(p: float, temperature_c: float) -> float:
    liquid, water = (float(ethanol_water_density_kg_m3(x, temperature_c)) for x in (p, 0.0))
    return (liquid - 1.2) / (water - 1.2)


@pytest.mark.rows("usp29_alcoholometric.csv", "ethanol % by weight")
def test_alcoholometric_mass(row, agree):
    agree(row, 100 * _sixty_f(row["abv_60F"]))


@pytest.mark.rows("usp29_alcoholometric.csv", "SG in air 25/25")
def test_alcoholometric_gravity_25c(row, agree):
    agree(row, _in_air(_sixty_f(row["abv_60F"]), 25.0))


@pytest.mark.rows("usp29_alcoholometric.csv", "SG in air 15.56")
def test_alcoholometric_gravity_60f(row, agree):
    agree(row, _in_air(_sixty_f(row["abv_60F"]), 15.56))
