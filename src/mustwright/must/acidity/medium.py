"""What are the acids dissolved in: solvent, dielectric constant and gas, by sugar and alcohol."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mustwright import data
from mustwright.constants import ETHANOL_DENSITY_20C_KG_M3, KELVIN_AT_0_C
from mustwright.must.density import sucrose_solution_density_kg_m3

Floats = NDArray[np.float64]
ETHANOL_KG_L = ETHANOL_DENSITY_20C_KG_M3 / 1000
DEBYE_A_25C = 0.5085  # log10, molal; Davies1962
WATER_25C = 78.30  # dielectric constant, Malmberg1956


def dielectric_constant(
    temperature_c: ArrayLike, ethanol_pct_vol: ArrayLike = 0.0, sugar_mass_pct: ArrayLike = 0.0
) -> Floats:
    """Dielectric constant of water with alcohol and sugar in it.

    Parameters
    ----------
    temperature_c : array_like
        0 to 45 [°C].
    ethanol_pct_vol : array_like
        0 to 20 [% vol].
    sugar_mass_pct : array_like
        0 to 65 [% by mass].

    Returns
    -------
    ndarray
        Relative permittivity, at least 40 [-].

    Notes
    -----
    Water: cubic of Malmberg1956. Alcohol and sugar: straight lines through handbook values, from
    memory (`medium` in the acid records).

    Examples
    --------
    >>> round(float(dielectric_constant(25.0)), 2)
    78.3
    """
    t = np.asarray(temperature_c, dtype=float)
    water = 87.740 - 0.40008 * t + 9.398e-4 * t**2 - 1.410e-6 * t**3
    medium = data.load("acids")["medium"]
    mass_pct = np.asarray(ethanol_pct_vol, dtype=float) * ETHANOL_KG_L
    lowered = (
        water
        + medium["dielectric_per_ethanol_mass_pct"] * mass_pct
        + medium["dielectric_per_sugar_mass_pct"] * np.asarray(sugar_mass_pct, dtype=float)
    )
    return np.asarray(np.maximum(lowered, 40.0))


def debye_slope(
    temperature_c: ArrayLike, ethanol_pct_vol: ArrayLike = 0.0, sugar_mass_pct: ArrayLike = 0.0
) -> Floats:
    """A of the Davies equation, log10 and molal.

    Parameters
    ----------
    temperature_c : array_like
        0 to 45 [°C].
    ethanol_pct_vol : array_like
        0 to 20 [% vol].
    sugar_mass_pct : array_like
        0 to 65 [% by mass].

    Returns
    -------
    ndarray
        [kg^0.5/mol^0.5].

    Notes
    -----
    ``A = 0.5085 (78.30 x 298.15 / (eps x T))^1.5``: Debye and Hückel's law, scaled from water at
    25 °C (0.5085 from Davies1962, 78.30 from Malmberg1956); the square root of the solvent's
    density, within 1 %, is left out.

    Examples
    --------
    >>> round(float(debye_slope(25.0)), 4)
    0.5085
    """
    kelvin = np.asarray(temperature_c, dtype=float) + KELVIN_AT_0_C
    eps = dielectric_constant(temperature_c, ethanol_pct_vol, sugar_mass_pct)
    return np.asarray(DEBYE_A_25C * (WATER_25C * 298.15 / (eps * kelvin)) ** 1.5)


def co2_mol_kg(temperature_c: ArrayLike, pressure_atm: ArrayLike = 1.0) -> Floats:
    """Dissolved CO2 in balance with its gas [mol/kg].

    Parameters
    ----------
    temperature_c : array_like
        0 to 40 [°C].
    pressure_atm : array_like
        Pressure of the CO2 alone [atm]; about 4e-4 in open air, 1 under its own gas.

    Notes
    -----
    Weiss1974 for pure water; alcohol and sugar lower it by some 10 to 15 %, which moves pH by less
    than 0.01 below pH 5.

    Examples
    --------
    >>> round(float(co2_mol_kg(25.0)), 5)
    0.03406
    """
    t = (np.asarray(temperature_c, dtype=float) + KELVIN_AT_0_C) / 100
    return np.asarray(
        np.exp(-60.2409 + 93.4517 / t + 23.3585 * np.log(t)) * np.asarray(pressure_atm, dtype=float)
    )


def solvent_kg_l(sugar_g_l: ArrayLike, ethanol_pct_vol: ArrayLike = 0.0) -> Floats:
    """Water and alcohol in a litre of must [kg/L].

    Parameters
    ----------
    sugar_g_l : array_like
        All that is dissolved, 0 to 900 [g/L].

    Examples
    --------
    A must of gravity 1.100 holds 261 g/L:

    >>> round(float(solvent_kg_l(261.0)), 3)
    0.837
    """
    sugar = np.clip(np.asarray(sugar_g_l, dtype=float) / 1000, 0.0, 0.9)
    water = _water_kg_l(sugar)
    ethanol = np.asarray(ethanol_pct_vol, dtype=float) / 100
    return np.asarray(water + ethanol * (ETHANOL_KG_L - 0.945))


def sugar_mass_pct(sugar_g_l: ArrayLike) -> Floats:
    """Dissolved matter in percent of mass from grams per litre [%]."""
    sugar = np.clip(np.asarray(sugar_g_l, dtype=float) / 1000, 0.0, 0.9)
    return np.asarray(100 * sugar / (sugar + _water_kg_l(sugar)))


def _water_table() -> tuple[Floats, Floats]:
    share = np.linspace(0, 0.7, 71)
    density = np.array([float(sucrose_solution_density_kg_m3(w)) / 1000 for w in share])
    return share * density, (1 - share) * density


_SUGAR_KG_L, _WATER_KG_L = _water_table()


def _water_kg_l(sugar_kg_l: Floats) -> Floats:
    return np.interp(sugar_kg_l, _SUGAR_KG_L, _WATER_KG_L)
