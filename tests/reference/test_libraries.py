"""Our formulas beside independent libraries: IAPWS-95, CoolProp and periodictable."""

import iapws
import periodictable
import pytest
from CoolProp.CoolProp import PropsSI

from mustwright import constants as c
from mustwright.must.density import (
    ethanol_water_density_kg_m3,
    sucrose_solution_density_kg_m3,
    water_density_kg_m3,
)
from mustwright.units import parse_quantity

ATMOSPHERE_MPA = 0.101325


@pytest.mark.parametrize("temperature_c", range(0, 41, 2))
def test_water_beside_iapws95(temperature_c):
    """Tanaka2001 claims 0.00084 kg/m3 (its expanded uncertainty); 0.0015 allows for IAPWS-95's."""
    theirs = iapws.IAPWS95(T=273.15 + temperature_c, P=ATMOSPHERE_MPA).rho
    assert float(water_density_kg_m3(temperature_c)) == pytest.approx(theirs, abs=0.0015)


@pytest.mark.parametrize("temperature_c", [0, 10, 20, 30, 40])
def test_water_end_of_the_tables(temperature_c):
    """The zero rows of ICUMSA1998 and OIML1975 rest on water scales older than IAPWS-95.

    They lie up to 0.007 kg/m3 below it (Bigg and Kell water), hence 0.008.
    """
    theirs = iapws.IAPWS95(T=273.15 + temperature_c, P=ATMOSPHERE_MPA).rho
    for ours in (sucrose_solution_density_kg_m3, ethanol_water_density_kg_m3):
        assert float(ours(0.0, temperature_c)) == pytest.approx(theirs, abs=0.008)


@pytest.mark.parametrize("temperature_c", [0, 10, 20, 30, 40])
def test_pure_ethanol_beside_coolprop(temperature_c):
    """Ends only: no library at hand does ethanol-water mixture density to better than a per cent.

    The mixtures are checked against the handbook and alcoholometric tables instead. CoolProp's
    ethanol equation of state lies 0.18 kg/m3 above OIML1975 at 20 °C; its stated uncertainty in
    liquid density is 0.2 %, hence 0.05 % here.
    """
    theirs = PropsSI("D", "T", 273.15 + temperature_c, "P", 101325, "Ethanol")
    assert float(ethanol_water_density_kg_m3(1.0, temperature_c)) == pytest.approx(theirs, rel=5e-4)


@pytest.mark.parametrize("mass_fraction", [0.05, 0.10, 0.15])
def test_ethanol_dissolved_in_water_contracts_beyond_mixing(mass_fraction):
    """Direction only: the mixture is denser than its CoolProp ends poured together."""
    ends = {
        "Ethanol": PropsSI("D", "T", 293.15, "P", 101325, "Ethanol"),
        "Water": PropsSI("D", "T", 293.15, "P", 101325, "Water"),
    }
    unmixed = 1 / (mass_fraction / ends["Ethanol"] + (1 - mass_fraction) / ends["Water"])
    mixed = float(ethanol_water_density_kg_m3(mass_fraction))
    assert unmixed < mixed < ends["Water"]


@pytest.mark.rows("stoichiometry.csv", "molar mass")
def test_molar_masses(row, agree):
    agree(row, periodictable.formula(row.given["formula"]).mass)


@pytest.mark.parametrize(
    ("ours", "formula"),
    [
        (c.HEXOSE_G_MOL, "C6H12O6"),
        (c.SUCROSE_G_MOL, "C12H22O11"),
        (c.ETHANOL_G_MOL, "C2H6O"),
        (c.CO2_G_MOL, "CO2"),
        (c.GLYCEROL_G_MOL, "C3H8O3"),
        (c.SUCCINIC_G_MOL, "C4H6O4"),
        (c.ACETIC_G_MOL, "C2H4O2"),
        (c.TARTARIC_G_MOL, "C4H6O6"),
        (c.DAP_G_MOL, "(NH4)2HPO4"),
        (c.AMMONIUM_SULFATE_G_MOL, "(NH4)2SO4"),
        (c.SO2_G_MOL, "SO2"),
        (c.CARBON_G_MOL, "C"),
        (c.NITROGEN_G_MOL, "N"),
        (c.PHOSPHORUS_G_MOL, "P"),
        (c.SODIUM_G_MOL, "Na"),
        (c.POTASSIUM_G_MOL, "K"),
        (c.CALCIUM_G_MOL, "Ca"),
        (c.MAGNESIUM_G_MOL, "Mg"),
    ],
)
def test_our_molar_masses(ours, formula):
    assert ours == pytest.approx(periodictable.formula(formula).mass, abs=0.0005)


def test_gas_of_hexose_is_the_ratio_of_molar_masses():
    assert pytest.approx(2 * c.CO2_G_MOL / c.HEXOSE_G_MOL, abs=0.000005) == c.CO2_PER_HEXOSE_G_G


def test_fermentation_conserves_atoms():
    sugar = periodictable.formula("C6H12O6").atoms
    made = {}
    for formula, count in (("C2H6O", 2), ("CO2", 2)):
        for element, n in periodictable.formula(formula).atoms.items():
            made[element] = made.get(element, 0) + count * n
    assert made == sugar


NITROGEN = {
    "N in NH4+, mass ratio": "NH4",
    "N mass fraction of diammonium phosphate": "(NH4)2HPO4",
    "N mass fraction of ammonium sulfate": "(NH4)2SO4",
    "N in NH3, mass ratio (YAN = 0.8225 NH3 + AAN)": "NH3",
}


def _nitrogen_fraction(formula: str) -> float:
    molecule = periodictable.formula(formula)
    return molecule.atoms[periodictable.N] * periodictable.N.mass / molecule.mass


@pytest.mark.rows("stoichiometry.csv", "N in NH4+", "N mass fraction")
def test_nitrogen_fractions(row, agree):
    agree(row, _nitrogen_fraction(NITROGEN[row.quantity]))


@pytest.mark.rows("awri_yan.csv")
def test_nitrogen_in_ammonia(row, agree):
    agree(row, _nitrogen_fraction(NITROGEN[row.quantity]))


@pytest.mark.rows("us_27cfr_24_246.csv")
def test_pounds_per_1000_us_gallons(row, agree):
    typed = parse_quantity(f"{row['lb_per_1000_us_gal']:g} lb/1000 US gal", "limit")
    agree(row, typed.value * {"g/L": 1, "mg/L": 1000}[row.unit])
