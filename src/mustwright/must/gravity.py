"""How sweet does it read: gravity, Brix, Plato, Baume, Oechsle and grams per litre, both ways.

Gravity everywhere is the *apparent* specific gravity 20/20 °C, weighed in air, as hydrometers are
marked. The pivot between scales is Brix (mass percent of sucrose).
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mustwright import data
from mustwright.constants import AIR_DENSITY_KG_M3
from mustwright.must.density import (
    must_density_kg_m3,
    sucrose_solution_density_kg_m3,
)

Floats = NDArray[np.float64]

NBS_LIMIT_BRIX = 40.0
LOWEST_BRIX, HIGHEST_BRIX = -10.0, 70.0
WATER_DENSITY_20C_KG_M3 = float(sucrose_solution_density_kg_m3(0.0))


def gravity_from_density(density_kg_m3: ArrayLike) -> Floats:
    """Apparent specific gravity 20/20 in air of a liquid of given density at 20 °C.

    Notes
    -----
    ``(rho - rho_air) / (rho_water - rho_air)`` with air of 1.2 kg/m3 (buoyancy, arithmetic).
    """
    rho = np.asarray(density_kg_m3, dtype=float)
    air = AIR_DENSITY_KG_M3
    return np.asarray((rho - air) / (WATER_DENSITY_20C_KG_M3 - air))


def brix_from_gravity(gravity: ArrayLike) -> Floats:
    """Brix of a sugar solution from its apparent gravity 20/20.

    Parameters
    ----------
    gravity : array_like
        0.960 to 1.346 [-].

    Returns
    -------
    ndarray
        Mass percent of sucrose [Brix]; below zero for gravities below 1, as a scale reading.

    Notes
    -----
    The NBS1942 apparent SG table as a cubic, 0 to 40 Brix; its value at gravity 1 (-0.005 Brix) is
    taken off and fades out by 0.9 Brix, so that water reads zero and the table rows hold. Above
    40 Brix the ICUMSA1998 density in air takes over, shifted by the difference at 40 Brix (0.0001)
    so that there is no step.

    Examples
    --------
    >>> round(float(brix_from_gravity(1.100)), 2)
    23.77
    """
    s = np.asarray(gravity, dtype=float)
    cubic = np.polynomial.polynomial.polyval(
        s, data.load("density")["brix_from_gravity"]["NBS1942"]
    )
    at_zero, gravity, brix = _strong_scale()
    offset = at_zero * np.clip(1 - (s - 1) / 0.0035, 0, 1)
    return np.asarray(np.where(s > gravity[0], np.interp(s, gravity, brix), cubic - offset))


def gravity_from_brix(brix: ArrayLike) -> Floats:
    """Apparent gravity 20/20 of a sugar solution of given Brix (-10 to 70).

    Notes
    -----
    Inverse of `brix_from_gravity` by Newton steps, to 1e-12.

    Examples
    --------
    >>> round(float(gravity_from_brix(24.0)), 5)
    1.10103
    """
    b = np.asarray(brix, dtype=float)
    s = 1 + b / 258.6 + 1.7e-5 * b * b
    for _ in range(40):
        slope = (brix_from_gravity(s + 1e-6) - brix_from_gravity(s - 1e-6)) / 2e-6
        step = (brix_from_gravity(s) - b) / slope
        s = s - step
        if np.all(np.abs(step) < 1e-13):
            break
    return np.asarray(s)


@cache
def _strong_scale() -> tuple[float, Floats, Floats]:
    """Zero offset of the cubic; gravity and Brix from 40 Brix on, close enough for straight lines.

    Above 70 Brix the last slope is carried on, so that steps of a search find their way back.
    """
    coefficients = data.load("density")["brix_from_gravity"]["NBS1942"]
    cubic = np.polynomial.Polynomial(coefficients)
    at_zero = float(cubic(1.0))
    low, high = 1.0, 1.3
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if cubic(middle) < NBS_LIMIT_BRIX else (low, middle)
    at_limit = (low + high) / 2
    brix = np.linspace(NBS_LIMIT_BRIX, HIGHEST_BRIX, 3001)
    in_air = gravity_from_density(sucrose_solution_density_kg_m3(brix / 100))
    beyond = 30.0
    last = (in_air[-1] - in_air[-2]) / (brix[-1] - brix[-2])
    brix = np.append(brix, brix[-1] + beyond)
    in_air = np.append(in_air, in_air[-1] + last * beyond)
    shift = at_limit - in_air[0]
    return at_zero, in_air + shift, brix


def plato_from_gravity_asbc(gravity: ArrayLike) -> Floats:
    """Plato from apparent gravity 20/20 by the ASBC table polynomial (best below 25 Plato)."""
    s = np.asarray(gravity, dtype=float)
    coefficients = data.load("density")["plato_from_gravity"]["ASBC"]
    return np.asarray(np.polynomial.polynomial.polyval(s, coefficients))


def sugar_g_l_from_brix(brix: ArrayLike) -> Floats:
    """Grams of dissolved sugar per litre at 20 °C of a solution of given Brix (0 to 70).

    Notes
    -----
    ``Brix/100 * density`` with the ICUMSA1998 density.

    Examples
    --------
    >>> round(float(sugar_g_l_from_brix(24.0)), 1)
    263.8
    """
    b = np.maximum(np.asarray(brix, dtype=float), 0.0)
    return np.asarray(b / 100 * sucrose_solution_density_kg_m3(b / 100))


def brix_from_sugar_g_l(sugar_g_l: ArrayLike) -> Floats:
    """Brix of a solution from its grams of sugar per litre at 20 °C (0 to 940)."""
    g = np.asarray(sugar_g_l, dtype=float)
    b = g / (9.98 + 0.0038 * g)  # Close enough that no step leaves the table.
    for _ in range(40):
        slope = (sugar_g_l_from_brix(b + 1e-4) - sugar_g_l_from_brix(b)) / 1e-4
        step = (sugar_g_l_from_brix(b) - g) / slope
        b = np.maximum(b - step, 0.0)
        if np.all(np.abs(step) < 1e-11):
            break
    return np.asarray(b)


def gravity_from_composition(extract_g_l: ArrayLike, ethanol_g_l: ArrayLike) -> Floats:
    """Apparent gravity 20/20 of a must or mead from what is dissolved in a litre of it.

    Parameters
    ----------
    extract_g_l : array_like
        Everything dissolved but ethanol, 0 to 700 [g/L].
    ethanol_g_l : array_like
        0 to 200 [g/L].

    Notes
    -----
    Without alcohol it equals `gravity_from_brix` of the same extract to 0.0001; the small
    difference between NBS1942 and ICUMSA1998 is carried over so that it is zero at no alcohol.
    """
    extract = np.asarray(extract_g_l, dtype=float)
    in_air = gravity_from_density(must_density_kg_m3(extract, ethanol_g_l))
    return np.asarray(in_air + _table_shift(extract))


def _table_shift(extract_g_l: Floats) -> Floats:
    """NBS1942 minus ICUMSA1998-in-air gravity at the same extract."""
    grid, shift = _table_shift_grid()
    return np.asarray(np.interp(extract_g_l, grid, shift))


@cache
def _table_shift_grid() -> tuple[Floats, Floats]:
    brix = np.linspace(0, 65, 131)
    grams = sugar_g_l_from_brix(brix)
    return grams, gravity_from_brix(brix) - gravity_from_density(must_density_kg_m3(grams, 0.0))


def baume_from_gravity(gravity: ArrayLike) -> Floats:
    """Baume degrees for liquids heavier than water, ``145 - 145/SG`` (from memory, modulus 145).

    The scale is defined at 15.56 °C; the 20/20 gravity is used as it stands, an error below
    0.02 degrees in the range of musts.
    """
    s = np.asarray(gravity, dtype=float)
    return np.asarray(145.0 - 145.0 / s)


def gravity_from_baume(baume: ArrayLike) -> Floats:
    """Inverse of `baume_from_gravity`."""
    return np.asarray(145.0 / (145.0 - np.asarray(baume, dtype=float)))


def oechsle_from_gravity(gravity: ArrayLike) -> Floats:
    """Oechsle degrees: thousandths of specific gravity above one (definition)."""
    return np.asarray((np.asarray(gravity, dtype=float) - 1) * 1000)


def gravity_from_oechsle(oechsle: ArrayLike) -> Floats:
    """Inverse of `oechsle_from_gravity`."""
    return np.asarray(1 + np.asarray(oechsle, dtype=float) / 1000)


KMW_SQUARE, KMW_LINEAR = 0.022, 4.54


def gravity_from_kmw(kmw: ArrayLike) -> Floats:
    """Gravity of degrees of the Klosterneuburg must scale, 0 to 60 [°KMW].

    Notes
    -----
    ``Oechsle = KMW (0.022 KMW + 4.54)``, KMW in the bibliography. The scale takes its sugar as a
    share of the mass of a grape must with some extract beside it: below Brix by about a sixth.

    Examples
    --------
    >>> round(float(gravity_from_kmw(20.0)), 4)
    1.0996
    """
    degrees = np.asarray(kmw, dtype=float)
    return gravity_from_oechsle(degrees * (KMW_SQUARE * degrees + KMW_LINEAR))


def kmw_from_gravity(gravity: ArrayLike) -> Floats:
    """Inverse of `gravity_from_kmw`, from gravity 0.96 on."""
    oechsle = oechsle_from_gravity(gravity)
    root = np.sqrt(KMW_LINEAR**2 + 4 * KMW_SQUARE * oechsle)
    return np.asarray((root - KMW_LINEAR) / (2 * KMW_SQUARE))
