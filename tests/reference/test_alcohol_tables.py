"""Alcohol and extract against published relations, tables and worked examples."""

from collections.abc import Callable

import pytest

from mustwright import data
from mustwright.constants import (
    CO2_PER_ETHANOL_G_G,
    ETHANOL_G_L_PER_PCT_VOL,
    HEXOSE_PER_SUCROSE_G_G,
    HIGHEST_ETHANOL_YIELD_G_G,
)
from mustwright.must.alcohol import ethanol_g_l_from_pct_vol, ferment
from mustwright.must.alcohol_rivals import (
    EU_SUGAR_G_L_PER_PCT_VOL,
    ethanol_pct_mass_from_extracts_balling1865,
    ethanol_pct_vol_from_gravities_hmrc226,
    original_extract_pct_from_ethanol_balling1865,
    real_extract_pct_from_extracts_balling1865,
)
from mustwright.must.density import must_density_kg_m3
from mustwright.must.gravity import sugar_g_l_from_brix


def _extract_of(gravity: float, gravity_of: Callable[[float], float]) -> float:
    """Extract [g/L] of the sugar solution that has this gravity, by halving."""
    low, high = 0.0, 300.0
    for _ in range(60):
        extract = (low + high) / 2
        low, high = (extract, high) if gravity_of(extract) < gravity else (low, extract)
    return low


def _true(extract_g_l: float) -> float:
    return float(must_density_kg_m3(extract_g_l, 0.0)) / float(must_density_kg_m3(0.0, 0.0))


@pytest.mark.rows("oiv_as2_03b_extract.csv", "total dry extract")
def test_extract_of_relative_density(row, agree):
    """Our sugar solution of that true relative density 20/20 holds the printed extract."""
    agree(row, _extract_of(row["rel_density"], _true))


@pytest.mark.rows("oiv_as2_03b_extract.csv", "relative density of de-alcoholised")
def test_density_once_alcohol_is_taken_out(row, agree):
    """The extract that gives the wine its density gives the printed density without alcohol."""
    ethanol = float(ethanol_g_l_from_pct_vol(row["abv"]))
    density = row["wine_density"] * 1000
    extract = _extract_of(density, lambda extract: float(must_density_kg_m3(extract, ethanol)))
    agree(row, _true(extract))


@pytest.mark.rows("balling.csv", "alcohol by weight")
def test_balling_alcohol(row, agree):
    agree(row, ethanol_pct_mass_from_extracts_balling1865(row["oe"], row["re"]))


@pytest.mark.rows("balling.csv", "original extract")
def test_balling_original_extract(row, agree):
    agree(row, original_extract_pct_from_ethanol_balling1865(row["abw"], row["re"]))


@pytest.mark.rows("balling.csv", "real extract")
def test_balling_real_extract(row, agree):
    agree(row, real_extract_pct_from_extracts_balling1865(row["oe"], row["ae"]))


@pytest.mark.rows("balling.csv", "alcohol by weight")
def test_mass_balance_beside_balling(row):
    """With Balling's own yield (1/2.0665 g per g, 0.9565 g CO2, 0.11 g yeast) the balance agrees.

    Balling counts 2.0665 g of extract for 1 g of ethanol; our carbon dioxide is the stoichiometric
    0.9553 instead of 0.9565, and the rest settles as his yeast does. The ethanol by mass then
    agrees to 0.02 % relative, the difference of the two carbon dioxide figures.
    """
    original = float(sugar_g_l_from_brix(row["oe"]))
    solution = float(must_density_kg_m3(original, 0.0))
    low, high = 0.0, original
    for _ in range(60):
        used = (low + high) / 2
        now = ferment(
            original, original, used, ethanol_yield_g_g=1 / 2.0665, byproduct_yield_g_g=0.0
        )
        real = 100 * now.extract_g / now.mass_g
        low, high = (used, high) if real > row["re"] else (low, used)
    assert solution == pytest.approx(original / (row["oe"] / 100), rel=1e-5)
    assert 100 * now.ethanol_g / now.mass_g == pytest.approx(row.value, rel=2e-4)


@pytest.mark.rows("hmrc_226.csv", "HMRC factor")
def test_hmrc_factor(row, agree):
    """Every row of the table in the data as printed, and its upper limits."""
    rows = data.load("alcohol_factors")["hmrc226"]["rows"]
    agree(row, dict(map(tuple, rows))[row["drop_upper"]])
    drop = row["drop_upper"] / 1000
    agree(row, ethanol_pct_vol_from_gravities_hmrc226(1 + drop, 1.0) / row["drop_upper"])


@pytest.mark.rows("hmrc_226.csv", "ABV by HMRC")
def test_hmrc_alcohol(row, agree):
    if "og" in row.given:
        original, present = row["og"] / 1000, row["pg"] / 1000
    else:
        original, present = 1 + row["drop"] / 1000, 1.0
    agree(row, ethanol_pct_vol_from_gravities_hmrc226(original, present))


@pytest.mark.rows("stoichiometry.csv", "ethanol per glucose")
def test_ethanol_ceiling(row, agree):
    agree(row, HIGHEST_ETHANOL_YIELD_G_G)


@pytest.mark.rows("stoichiometry.csv", "CO2 per glucose")
def test_carbon_dioxide(row, agree):
    agree(row, HIGHEST_ETHANOL_YIELD_G_G * CO2_PER_ETHANOL_G_G)


@pytest.mark.rows("stoichiometry.csv", "hexose per sucrose")
def test_inversion(row, agree):
    agree(row, HEXOSE_PER_SUCROSE_G_G)


@pytest.mark.rows("stoichiometry.csv", "theoretical hexose")
def test_least_hexose_per_pct(row, agree):
    agree(row, ETHANOL_G_L_PER_PCT_VOL / HIGHEST_ETHANOL_YIELD_G_G)


@pytest.mark.rows("eu_sugar_per_alcohol.csv")
def test_legal_sugar_per_pct(row, agree):
    agree(row, EU_SUGAR_G_L_PER_PCT_VOL)
