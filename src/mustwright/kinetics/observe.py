"""What an instrument reads: apparent gravity and Brix of thousands of members, quickly.

The functions of `mustwright.must.gravity` are exact but slow for millions of points. Gravity there
is a function of the extract plus a function of the ethanol; here each is a polynomial fitted to it
once, and Brix is a polynomial of gravity. The unit tests hold both to the originals.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mustwright.kinetics.conditions import Conditions
from mustwright.must.gravity import brix_from_gravity, gravity_from_composition

Floats = NDArray[np.float64]
_EXTRACT_G_L = np.linspace(0, 620, 621)
_ETHANOL_G_L = np.linspace(0, 180, 361)

# Hours over which gas comes to mix a must that was stirred badly (assumed; red and honey musts read
# 1 to 3 Brix off until about 16 h, Reiter2021 and honey_gas_rates.csv).
UNMIXED_H = 16.0
# Standard error of a gravity reading of a must that nothing mixes yet, by medium: honey settles,
# skins give off sugar and water for a day. Grape by the first readings of Reiter2021 (about 1 Brix
# off at 16 h, the odd site left out), the rest assumed.
UNMIXED_SD_GRAVITY = {
    "honey": 0.003,
    "grape_with_skins": 0.009,
    "clear_juice": 0.0015,
    "unknown": 0.007,
}
DISSOLVED_CO2_G_L = 1.5  # held by the must before any leaves, at 20 °C (from memory)
# Most water and alcohol that leave with the gas, by weight of the gas. Alcohol: 0.65 % of that made
# at 26.5 °C (Zimmermann1964), about as much by weight of the gas; water: 1.2 % where gas at 24 °C
# leaves saturated (from memory). An airlock in the cool gives some of it back.
CARRIED = 0.02


def unmixed_sd(conditions: Conditions, medium: str) -> float:
    """Standard error of sampling before gas mixes the must [-]: what is told, else the medium's."""
    if conditions.unmixed_sd_gravity is not None:
        return conditions.unmixed_sd_gravity
    return UNMIXED_SD_GRAVITY[medium]


def reading_sd(t_h: Any, instrument: Any, unmixed: float) -> Any:
    """Standard error of a gravity reading: the instrument's, and that of sampling a must at rest.

    Parameters
    ----------
    t_h : array_like
        Hours after pitch, 0 or more [h].
    instrument : array_like
        Standard error of the instrument, 0 to 0.05 [-].
    unmixed : float
        Standard error of a sample before gas mixes the must, 0 to 0.02 [-].

    Returns
    -------
    ndarray
        Both together, at each time [-].
    """
    return np.hypot(instrument, unmixed * np.exp(-np.asarray(t_h, float) / UNMIXED_H))


def released(co2_g_l: Any) -> Any:
    """CO2 that has left the must [g/L], of that made [g/L]: the first of it stays dissolved."""
    held = DISSOLVED_CO2_G_L
    return co2_g_l - held * (1 - np.exp(-co2_g_l / held))


def weight_lost(co2_g_l: Any, carried: Any) -> Any:
    """What a scale under the vessel shows as gone.

    Parameters
    ----------
    co2_g_l : array_like
        CO2 made, 0 to 400 [g/L].
    carried : array_like
        Water and alcohol that left with the gas, 0 to `CARRIED` of its weight [-].

    Returns
    -------
    ndarray
        By litre of must [g/L].
    """
    return released(co2_g_l) * (1 + carried)


@cache
def gravity_coefficients() -> Floats:
    """Eleven coefficients: extract/100 up to the fifth power, then ethanol/100 from the first.

    Fitted over 0 to 620 g/L of extract and 0 to 180 g/L of ethanol; within 0.00005 in gravity.
    """
    polyfit = np.polynomial.polynomial.polyfit
    by_extract = gravity_from_composition(_EXTRACT_G_L, 0.0)
    extract = polyfit(_EXTRACT_G_L / 100, by_extract, 5)
    fall = gravity_from_composition(0.0, _ETHANOL_G_L) - gravity_from_composition(0.0, 0.0)
    basis = np.stack([(_ETHANOL_G_L / 100) ** power for power in range(1, 6)], axis=1)
    ethanol = np.linalg.lstsq(basis, fall, rcond=None)[0]
    return np.concatenate([extract, ethanol])


@cache
def _brix_coefficients() -> Floats:
    gravity = np.linspace(0.965, 1.27, 1221)
    return np.asarray(np.polynomial.polynomial.polyfit(gravity - 1, brix_from_gravity(gravity), 6))


def gravity(extract_g_l: Any, ethanol_g_l: Any) -> Any:
    """Apparent gravity 20/20 [-] from extract and ethanol [g/L], arrays of any shape."""
    c = gravity_coefficients()
    a, b = extract_g_l * 0.01, ethanol_g_l * 0.01
    top = c[0] + a * (c[1] + a * (c[2] + a * (c[3] + a * (c[4] + a * c[5]))))
    return top + b * (c[6] + b * (c[7] + b * (c[8] + b * (c[9] + b * c[10]))))


def brix(gravity_20: Any) -> Any:
    """Brix a hydrometer shows [Brix] from apparent gravity; within 0.02 Brix of the table."""
    above = gravity_20 - 1.0
    answer = 0.0 * above
    for coefficient in _brix_coefficients()[::-1]:
        answer = answer * above + coefficient
    return answer
