"""How dense is it: water, sugar solutions, ethanol-water, and a fermenting must."""

from __future__ import annotations

from functools import cache
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mustwright import data
from mustwright.constants import ETHANOL_DENSITY_20C_KG_M3
from mustwright.errors import warn_validity
from mustwright.texts import say

Floats = NDArray[np.float64]
Number = TypeVar("Number", float, Floats)  # one value, or an array of them


def water_density_kg_m3(temperature_c: ArrayLike) -> Floats:
    """Density of air-free water at 101.325 kPa.

    Parameters
    ----------
    temperature_c : array_like
        0 to 40 [°C]; warns outside.

    Returns
    -------
    ndarray
        Density [kg/m3].

    Notes
    -----
    ``999.974950 (1 - (t - 3.983035)^2 (t + 301.797) / (522528.9 (t + 69.34881)))``,
    Tanaka2001 eq. 1.

    Examples
    --------
    >>> round(float(water_density_kg_m3(20.0)), 3)
    998.207
    """
    t = np.asarray(temperature_c, dtype=float)
    _warn_outside(say("water density (Tanaka2001)"), "temperature_c", t, 0, 40)
    return np.asarray(
        999.974950 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))
    )


def sucrose_solution_density_kg_m3(
    sugar_mass_fraction: ArrayLike, temperature_c: ArrayLike = 20.0
) -> Floats:
    """Density of a sucrose solution; other sugars of a must are taken as sucrose by mass.

    Parameters
    ----------
    sugar_mass_fraction : array_like
        0 to 0.7 [kg/kg]; warns outside.
    temperature_c : array_like
        0 to 60 [°C]; warns outside.

    Returns
    -------
    ndarray
        Density [kg/m3].

    Notes
    -----
    ``rho_w(t) + sum_j sum_i S[j][i] w^(i+1) ((t - 20)/100)^j``, ICUMSA1998.
    """
    w = np.asarray(sugar_mass_fraction, dtype=float)
    t = np.asarray(temperature_c, dtype=float)
    _warn_outside(say("sucrose density (ICUMSA1998)"), "sugar_mass_fraction", w, 0, 0.7)
    _warn_outside(say("sucrose density (ICUMSA1998)"), "temperature_c", t, 0, 60)
    record = data.load("density")["sucrose_solution"]
    tau = (t - 20) / 100
    excess = np.zeros(np.broadcast(w, t).shape)
    for power, row in enumerate(record["S"]):
        excess = excess + np.polynomial.polynomial.polyval(w, [0.0, *row]) * tau**power
    numerator = np.polynomial.polynomial.polyval(t, record["water_numerator"])
    return np.asarray(numerator / (1 + record["water_denominator"] * t) + excess)


def ethanol_water_density_kg_m3(
    ethanol_mass_fraction: ArrayLike, temperature_c: ArrayLike = 20.0
) -> Floats:
    """Density of an ethanol-water mixture.

    Parameters
    ----------
    ethanol_mass_fraction : array_like
        0 to 1 [kg/kg]; warns outside.
    temperature_c : array_like
        -20 to 40 [°C]; warns outside.

    Returns
    -------
    ndarray
        Density [kg/m3].

    Notes
    -----
    General formula of OIML1975: ``A1 + sum A_k p^(k-1) + sum B_k (t-20)^k
    + sum_i sum_k C_ik p^k (t-20)^i``.
    """
    p = np.asarray(ethanol_mass_fraction, dtype=float)
    t = np.asarray(temperature_c, dtype=float)
    _warn_outside(say("ethanol-water density (OIML1975)"), "ethanol_mass_fraction", p, 0, 1)
    _warn_outside(say("ethanol-water density (OIML1975)"), "temperature_c", t, -20, 40)
    record = data.load("density")["ethanol_water"]
    polyval = np.polynomial.polynomial.polyval
    d = t - 20
    rho = polyval(p, record["A"]) + polyval(d, [0.0, *record["B"]])
    for power, row in enumerate(record["C"], start=1):
        rho = rho + polyval(p, [0.0, *row]) * d**power
    return np.asarray(rho)


def ethanol_pct_vol_from_mass_fraction(ethanol_mass_fraction: ArrayLike) -> Floats:
    """Alcoholic strength by volume at 20 °C [% vol] of an ethanol-water mixture (OIML1975).

    Notes
    -----
    ``100 p density(p) / density(1)``, with the unrounded density of the formula (789.239) so that
    pure ethanol is 100 % vol.
    """
    p = np.asarray(ethanol_mass_fraction, dtype=float)
    return np.asarray(100 * p * ethanol_water_density_kg_m3(p) / ethanol_water_density_kg_m3(1.0))


def ethanol_mass_fraction_from_pct_vol(ethanol_pct_vol: ArrayLike) -> Floats:
    """Mass fraction of an ethanol-water mixture of given strength at 20 °C.

    Parameters
    ----------
    ethanol_pct_vol : array_like
        0 to 100 [% vol].

    Notes
    -----
    Inverse of `ethanol_pct_vol_from_mass_fraction` by Newton steps, to 1e-12.
    """
    q = np.asarray(ethanol_pct_vol, dtype=float)
    p = q / 100 * 0.9
    for _ in range(60):
        step = 1e-6
        here = ethanol_pct_vol_from_mass_fraction(np.clip(p, 0, 1))
        ahead = ethanol_pct_vol_from_mass_fraction(np.clip(p - step, 0, 1))
        slope = np.where(p > step, (here - ahead) / step, 79.0)
        new = np.clip(p - (here - q) / slope, 0, 1)
        if np.all(np.abs(new - p) < 1e-13):
            break
        p = new
    return np.asarray(p)


def _spirit_polynomial() -> Floats:
    """Density of ethanol-water at 20 °C as a polynomial in grams of ethanol per litre.

    Fitted once to the OIML1975 formula over 0 to 200 g/L (0 to 25 % vol); worst deviation below
    0.001 kg/m3, asserted in the unit tests. It keeps ensembles of millions of points fast.
    """
    grams = np.linspace(0, 200, 401)
    rho = ethanol_water_density_kg_m3(
        ethanol_mass_fraction_from_pct_vol(grams / ETHANOL_DENSITY_20C_KG_M3 * 100)
    )
    return np.asarray(np.polynomial.polynomial.polyfit(grams / 100, rho, 7))


def must_density_kg_m3(extract_g_l: ArrayLike, ethanol_g_l: ArrayLike) -> Floats:
    """Density at 20 °C of a must or mead from what is dissolved in it.

    Parameters
    ----------
    extract_g_l : array_like
        Dissolved matter other than ethanol, per litre of the liquid, 0 to 900 [g/L].
    ethanol_g_l : array_like
        Ethanol per litre of the liquid, 0 to 200 [g/L].

    Returns
    -------
    ndarray
        Density [kg/m3].

    Notes
    -----
    The density a liquid would have with its alcohol replaced by water, ``d_r = 1.00180 (rho_v -
    rho_a) + 1.000``, is OIV2012; solved here for ``rho_v``, with ``d_r`` from the ICUMSA1998
    sucrose solution of the same extract per litre and ``rho_a`` from OIML1975.
    """
    return np.asarray(
        _density(np.asarray(extract_g_l, dtype=float), np.asarray(ethanol_g_l, dtype=float))
    )


def must_density_at(extract_g_l: float, ethanol_g_l: float) -> float:
    """`must_density_kg_m3` of one liquid in plain numbers: the same digits, faster."""
    return _density(extract_g_l, ethanol_g_l)


def _density(extract: Number, ethanol: Number) -> Number:
    """The formula of `must_density_kg_m3`, for one liquid or an array of them."""
    water, by_extract, by_ethanol = _at_20c()
    without_alcohol = _polynomial(by_extract, extract / 100)
    spirit = _polynomial(by_ethanol, ethanol / 100)
    return spirit + (without_alcohol / water - 1.0) * 1000 / 1.00180


def _polynomial(coefficients: tuple[float, ...], x: Number) -> Number:
    """Value of a polynomial, lowest power first, by Horner's rule."""
    value = coefficients[-1] + x * 0
    for c in coefficients[-2::-1]:
        value = c + value * x
    return value


@cache
def _at_20c() -> tuple[float, tuple[float, ...], tuple[float, ...]]:
    """Density of water, and the polynomials in extract and ethanol as plain numbers."""
    water = float(sucrose_solution_density_kg_m3(0.0))
    return water, tuple(_extract_polynomial().tolist()), tuple(_spirit_polynomial().tolist())


def _extract_polynomial() -> Floats:
    """Density of a sucrose solution at 20 °C as a polynomial in grams per litre (0 to 900)."""
    w = np.linspace(0, 0.7, 701)
    rho = sucrose_solution_density_kg_m3(w)
    return np.asarray(np.polynomial.polynomial.polyfit(w * rho / 100, rho, 9))


def _warn_outside(what: str, name: str, value: Floats, low: float, high: float) -> None:
    if np.any(value < low) or np.any(value > high):
        warn_validity(
            say("{what}: {name} outside {low} to {high}", what=what, name=name, low=low, high=high)
        )
