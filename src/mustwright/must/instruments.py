"""What does the hydrometer really say: readings at any temperature, brought to 20/20 °C."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mustwright.constants import AIR_DENSITY_KG_M3
from mustwright.must.alcohol import ethanol_g_l_from_pct_vol
from mustwright.must.density import (
    ethanol_mass_fraction_from_pct_vol,
    ethanol_water_density_kg_m3,
    must_density_kg_m3,
    sucrose_solution_density_kg_m3,
)
from mustwright.must.gravity import gravity_from_density

Floats = NDArray[np.float64]

# ISO1768 clause 3: conventional cubic expansion of hydrometer glass [1/K].
GLASS_EXPANSION_PER_K = 25e-6

# The reference temperatures hydrometers for sugar and must are sold for [°C]; 15.56 is 60 °F.
CALIBRATIONS_C = (15.0, 15.56, 20.0)

# Below water the sugar table is carried on by its first two terms at 20 °C [kg/m3] (ICUMSA1998).
_BELOW_WATER_KG_M3 = (385.1761, 135.3705)
_LEAST_SUGAR, _MOST_SUGAR = -0.15, 0.70


def liquid_density_kg_m3(
    sugar_mass_fraction: ArrayLike, temperature_c: ArrayLike, ethanol_pct_vol: ArrayLike = 0.0
) -> Floats:
    """Density of a must or mead at temperatures other than 20 °C.

    Parameters
    ----------
    sugar_mass_fraction : array_like
        Of the sugar solution with the same grams of extract per litre, -0.15 to 0.70 [kg/kg].
    temperature_c : array_like
        0 to 40 with alcohol, 0 to 60 without [°C].
    ethanol_pct_vol : array_like
        At 20 °C, 0 to 25 [% vol].

    Returns
    -------
    ndarray
        Density [kg/m3].

    Notes
    -----
    At 20 °C it is `must_density_kg_m3`. Away from it, the change of the sugar solution (ICUMSA1998)
    and the change of the spirit (OIML1975), each less that of water, are added to the change of
    water: an approximation, as no table of alcoholic sugar solutions by temperature was read.
    """
    w, t, pct = (
        np.asarray(v, dtype=float) for v in (sugar_mass_fraction, temperature_c, ethanol_pct_vol)
    )
    return np.asarray(_with_sugar(w, t, pct) + _spirit_change(pct, t))


def gravity_from_hydrometer(
    reading: ArrayLike,
    temperature_c: ArrayLike,
    calibration_c: ArrayLike = 20.0,
    ethanol_pct_vol: ArrayLike = 0.0,
    glass_expansion_per_k: float = GLASS_EXPANSION_PER_K,
) -> Floats:
    """Apparent gravity 20/20 °C of a liquid from what a hydrometer shows in it.

    Parameters
    ----------
    reading : array_like
        As read, in specific gravity at the calibration temperature, 0.95 to 1.30 [-].
    temperature_c : array_like
        Of the liquid while reading, 0 to 40 [°C].
    calibration_c : array_like
        Marked on the instrument, 15, 15.56 (60 °F) or 20; anything from 10 to 30 [°C].
    ethanol_pct_vol : array_like
        Alcohol of the liquid if known, 0 to 25 [% vol].
    glass_expansion_per_k : float
        Cubic expansion of its glass, at least 0 [1/K]; ISO1768 clause 3 unless given.

    Returns
    -------
    ndarray
        Apparent gravity 20/20 °C [-].

    Notes
    -----
    The reading stands for the density at which the instrument floats that deep at its
    calibration temperature; warmer glass is larger and floats at ``density / (1 + expansion
    (t - t_cal))``. The sugar that gives the liquid this density at `temperature_c` is found by
    halving (densities: `liquid_density_kg_m3`), and its gravity at 20 °C returned. Surface
    tension and air on the stem are left out.

    Examples
    --------
    >>> round(float(gravity_from_hydrometer(1.098, 28.0)), 4)
    1.1006
    """
    read, t, cal = (np.asarray(v, dtype=float) for v in (reading, temperature_c, calibration_c))
    marked = _marked_density(read, cal)
    wanted = marked / (1 + glass_expansion_per_k * (t - cal))
    pct = np.asarray(ethanol_pct_vol, dtype=float)
    w = _sugar_of_density(wanted, t, pct)
    return gravity_from_density(liquid_density_kg_m3(w, 20.0, pct))


def hydrometer_from_gravity(
    gravity: ArrayLike,
    temperature_c: ArrayLike,
    calibration_c: ArrayLike = 20.0,
    ethanol_pct_vol: ArrayLike = 0.0,
    glass_expansion_per_k: float = GLASS_EXPANSION_PER_K,
) -> Floats:
    """What a hydrometer shows in a liquid of known gravity: inverse of `gravity_from_hydrometer`.

    Parameters
    ----------
    gravity : array_like
        Apparent gravity 20/20 °C, 0.95 to 1.30 [-].
    temperature_c : array_like
        Of the liquid while reading, 0 to 40 [°C].
    calibration_c : array_like
        Marked on the instrument, 10 to 30 [°C].
    ethanol_pct_vol : array_like
        0 to 25 [% vol].
    glass_expansion_per_k : float
        Cubic expansion of its glass, at least 0 [1/K]; ISO1768 clause 3 unless given.

    Returns
    -------
    ndarray
        Reading in specific gravity at the calibration temperature [-].
    """
    s, t, cal = (np.asarray(v, dtype=float) for v in (gravity, temperature_c, calibration_c))
    pct = np.asarray(ethanol_pct_vol, dtype=float)
    water = sucrose_solution_density_kg_m3(0.0)
    at_20 = AIR_DENSITY_KG_M3 + s * (water - AIR_DENSITY_KG_M3)
    w = _sugar_of_density(at_20, np.asarray(20.0), pct)
    marked = liquid_density_kg_m3(w, t, pct) * (1 + glass_expansion_per_k * (t - cal))
    water_at_cal = sucrose_solution_density_kg_m3(0.0, cal)
    return np.asarray((marked - AIR_DENSITY_KG_M3) / (water_at_cal - AIR_DENSITY_KG_M3))


def _marked_density(reading: Floats, calibration_c: Floats) -> Floats:
    """Density for which the reading is right at the calibration temperature, weighed in air."""
    water = sucrose_solution_density_kg_m3(0.0, calibration_c)
    return np.asarray(AIR_DENSITY_KG_M3 + reading * (water - AIR_DENSITY_KG_M3))


def _with_sugar(sugar_mass_fraction: Floats, temperature_c: Floats, pct_vol: Floats) -> Floats:
    """Must density at 20 °C and what its sugar solution changes by; the spirit left at 20 °C."""
    at_20 = _sugar_solution(sugar_mass_fraction, np.asarray(20.0))
    change = _sugar_solution(sugar_mass_fraction, temperature_c) - at_20
    must = must_density_kg_m3(sugar_mass_fraction * at_20, ethanol_g_l_from_pct_vol(pct_vol))
    return np.asarray(must + change)


def _sugar_solution(sugar_mass_fraction: Floats, temperature_c: Floats) -> Floats:
    """Sucrose solution, carried on below pure water."""
    w = np.asarray(sugar_mass_fraction)
    table = sucrose_solution_density_kg_m3(np.maximum(w, 0.0), temperature_c)
    below = np.minimum(w, 0.0)
    first, second = _BELOW_WATER_KG_M3
    return np.asarray(table + first * below + second * below**2)


def _spirit_change(ethanol_pct_vol: Floats, temperature_c: Floats) -> Floats:
    """How much more than water a spirit of this strength changes from 20 °C to the temperature."""
    if not np.any(ethanol_pct_vol > 0):  # Spares hot sugar solutions the 40 °C limit of spirits.
        return np.zeros(())
    p = ethanol_mass_fraction_from_pct_vol(ethanol_pct_vol)
    spirit = ethanol_water_density_kg_m3(p, temperature_c) - ethanol_water_density_kg_m3(p)
    water = ethanol_water_density_kg_m3(0.0, temperature_c) - ethanol_water_density_kg_m3(0.0)
    return np.asarray(spirit - water)


def _sugar_of_density(density: Floats, temperature_c: Floats, ethanol_pct_vol: Floats) -> Floats:
    """Sugar mass fraction that gives the density; density rises with it, so halving finds it."""
    shape = np.broadcast(density, temperature_c, ethanol_pct_vol).shape
    spirit = _spirit_change(ethanol_pct_vol, temperature_c)
    low, high = np.full(shape, _LEAST_SUGAR), np.full(shape, _MOST_SUGAR)
    for _ in range(50):
        middle = (low + high) / 2
        short = _with_sugar(middle, temperature_c, ethanol_pct_vol) + spirit < density
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.asarray((low + high) / 2)
