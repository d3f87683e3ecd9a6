"""What happens in the must in the next hour: the right-hand side of the fermentation model.

Plain NumPy, to be read. The compiled kernel (`mustwright.kinetics.ensemble`) computes the same
and is tested against this. All masses are grams per litre of must, time is in hours.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from mustwright.constants import (
    CARBON_G_MOL,
    CO2_G_MOL,
    CO2_PER_ETHANOL_G_G,
    ETHANOL_G_MOL,
    GLYCEROL_G_MOL,
    HEXOSE_G_MOL,
)
from mustwright.kinetics.parameters import TRAITS

Floats = NDArray[np.float64]

STATES = (
    "active",  # dry cells that ferment [g/L]
    "dead",  # dry cells that do not any more [g/L]
    "ammonium_n",  # [g N/L]
    "amino_n",  # [g N/L], proline excluded
    "cell_n",  # nitrogen inside all cells [g N/L]
    "glucose",  # [g/L]
    "fructose",  # [g/L]
    "ethanol",  # [g/L]
    "co2",  # made so far, dissolved or gone [g/L]
    "glycerol",  # [g/L]
    "byproducts",  # acids, higher alcohols and other, as carbohydrate [g/L]
    "capacity",  # sugar transport capacity per cell, 1 = full [-]
    "readiness",  # 0 just pitched, 1 lag over [-]
    "temperature",  # [°C]
)
INDEX = {name: place for place, name in enumerate(STATES)}

# Carbon by mass.
CARBON = {
    "glucose": 6 * CARBON_G_MOL / HEXOSE_G_MOL,
    "fructose": 6 * CARBON_G_MOL / HEXOSE_G_MOL,
    "ethanol": 2 * CARBON_G_MOL / ETHANOL_G_MOL,
    "co2": CARBON_G_MOL / CO2_G_MOL,
    "glycerol": 3 * CARBON_G_MOL / GLYCEROL_G_MOL,
    "byproducts": 6 * CARBON_G_MOL / HEXOSE_G_MOL,
}
CELL_CARBON = 0.488  # CH1.8 O0.5 N0.2, the usual mean formula of biomass (Roels1983, from memory).
SUGAR_PER_CELLS = CELL_CARBON / CARBON["glucose"]  # all carbon of new cells comes from sugar

# Cardinal temperatures of growth [°C]: Salvado2011 (second-hand), Rosso form.
T_MIN, T_OPT, T_MAX = 2.84, 32.27, 45.39
HOT_C = 28.0  # above it ethanol stresses more (assumed)
UPTAKE_END_C, UPTAKE_FALL_K = 45.0, 6.0  # uptake falls to nothing over the last 6 K (assumed)

STORE_HALF = 0.3  # bend of transport capacity against the nitrogen store of the cells (assumed)
SUGAR_HEAT_KJ_G = 0.55  # Williams1982 0.54 to 0.58 with growth (from memory); 0.506 second-hand
MUST_HEAT_CAPACITY_KJ_L_K = 4.0  # water 4.18, less what the sugar displaces (from memory)


@dataclass(frozen=True)
class Surroundings:
    """What acts on the temperature of the must from outside.

    Parameters
    ----------
    slope_k_h : float
        Imposed change of a prescribed temperature [K/h].
    room_c : float
        Room temperature [°C].
    loss_per_h : float
        Heat exchange with the room over heat capacity [1/h]; 0 with a prescribed temperature.
    heating : float
        1 where the sugar's heat warms the must, 0 with a prescribed temperature.
    cool_above_c, cool_max_k_h : float
        A cooler starts here [°C] and takes at most this [K/h].
    """

    slope_k_h: float = 0.0
    room_c: float = 20.0
    loss_per_h: float = 0.0
    heating: float = 0.0
    cool_above_c: float = 1000.0
    cool_max_k_h: float = 0.0


def growth_warmth(temperature_c: Any) -> Any:
    """Growth against temperature, 1 at 20 °C: the cardinal curve of Rosso with Salvado2011.

    Near 45 °C it is cut by the same fall as uptake, so that no cells are built without sugar.
    """
    fall = np.clip((UPTAKE_END_C - temperature_c) / UPTAKE_FALL_K, 0.0, 1.0)
    return _cardinal(temperature_c) / _cardinal(20.0) * fall


def _cardinal(temperature_c: Any) -> Any:
    t = np.clip(temperature_c, T_MIN, T_MAX)
    bottom = (T_OPT - T_MIN) * (
        (T_OPT - T_MIN) * (t - T_OPT) - (T_OPT - T_MAX) * (T_OPT + T_MIN - 2 * t)
    )
    return (t - T_MAX) * (t - T_MIN) ** 2 / bottom


def uptake_warmth(temperature_c: Any, zero_c: Any) -> Any:
    """Uptake against temperature, 1 at 20 °C: the square-root law of Ratkowsky1982."""
    rise = np.maximum(temperature_c - zero_c, 0.0) / (20.0 - zero_c)
    return rise**2 * np.clip((UPTAKE_END_C - temperature_c) / UPTAKE_FALL_K, 0.0, 1.0)


def death_warmth(temperature_c: Any) -> Any:
    """Death against temperature, 1 at 20 °C, as the Coleman2007 regression from 11 to 35 °C."""
    return 0.7 + 0.3 * (np.maximum(temperature_c, 0.0) / 20.0) ** 6


def yields(traits: dict[str, Any]) -> dict[str, Any]:
    """Grams of each product per gram of sugar fermented, closing the carbon exactly.

    Ethanol and glycerol are parameters; CO2 leaves one mole with each mole of ethanol; the carbon
    that is then left is counted as other by-products.
    """
    ethanol = traits["ethanol_yield"]
    glycerol = traits["glycerol_yield"]
    co2 = ethanol * CO2_PER_ETHANOL_G_G
    carbon = ethanol * CARBON["ethanol"] + co2 * CARBON["co2"] + glycerol * CARBON["glycerol"]
    other = (CARBON["glucose"] - carbon) / CARBON["byproducts"]
    return {"ethanol": ethanol, "co2": co2, "glycerol": glycerol, "byproducts": other}


def rates(state: Floats, traits: dict[str, Any], around: Surroundings) -> Floats:
    """Change of every state per hour.

    Parameters
    ----------
    state : ndarray
        One value (or one row of members) for each name of `STATES`.
    traits : dict
        One value (or one row of members) for each name of `parameters.TRAITS`.
    around : Surroundings

    Returns
    -------
    ndarray
        Same shape as `state`, per hour.

    Notes
    -----
    With ``X`` active and ``D`` dead cells, ``q`` nitrogen per cells, ``S = G + F``:

    - sugar transport, competition of two sugars for one carrier:
      ``g = (G/K_G) / (1 + G/K_G + F/K_F)`` and ``f`` likewise, so that glucose goes first;
    - vigour ``w = P a p / (1 + E/K_E) * (1 - (E/E_end)^6)``: capacity, readiness, pH, the
      hyperbolic ethanol term that fits Harle2020 best, and the strain's ceiling (shape of
      Luong1985);
    - uptake ``nu = V theta(T) w (g + f)`` per gram of cells;
    - growth ``mu = mu_max phi(T) w (g + f) (1 - q_min/q) / ((1 + (E/E_g)^4)(1 + (S/S_o)^2))
      (1 - (X + D)/X_max)``: nitrogen quota (Droop1968), ethanol, osmotic stress
      (Thatipamala1992), and what membrane lipids allow;
    - nitrogen ``u_A = U theta(T) a X A / (K_N + A + b B) / (1 + E/K_E) (1 - E/E_N) (1 - q/q_max)``,
      and for amino nitrogen with the preference ``b``: it ends when cells are full, so nitrogen
      can be left over;
    - capacity ``P' = r theta(T) (P_min + (1 - P_min) 1.3 s/(s + 0.3) - P)`` with the store
      ``s = (q - q_min)/(q_max - q_min)``: carriers are protein, so they follow the nitrogen of the
      cells (after Malherbe2004; the bend is assumed); late nitrogen quickens without adding cells;
    - death ``k_d delta(T) (E/100)^2`` (Coleman2007, steeper in ethanol);
    - sugar not built into cells becomes ethanol, CO2, glycerol and by-products in fixed shares.
    """
    x, dead, ammonium, amino, cell_n, glucose, fructose, ethanol = state[:8]
    capacity, readiness, warm = state[11], state[12], state[13]
    t = traits
    g = glucose / t["glucose_half"]
    f = fructose / t["fructose_half"]
    filled = 1.0 + g + f
    stress = 1.0 / (1.0 + ethanol / t["ethanol_half"])
    hot = 1.0 + t["heat_tolerance_loss"] * np.maximum(warm - HOT_C, 0.0)
    ceiling = np.maximum(1.0 - (ethanol / t["ethanol_end"] * hot) ** 6, 0.0)
    vigour = capacity * readiness * t["ph_factor"] * stress * ceiling
    theta = uptake_warmth(warm, t["uptake_temperature_zero"])
    take_glucose = t["uptake_max"] * theta * vigour * g / filled * x
    take_fructose = t["uptake_max"] * theta * vigour * f / filled * x

    total = x + dead
    fed = np.maximum(1.0 - t["cell_n_min"] * total / cell_n, 0.0)
    room = np.maximum(1.0 - total / t["cells_end"], 0.0)
    checked = (1.0 + (ethanol / t["ethanol_growth_half"]) ** 4) * (
        1.0 + ((glucose + fructose) / t["sugar_osmotic"]) ** 2
    )
    phi = growth_warmth(warm)
    growth = t["growth_max"] * phi * vigour * (g + f) / filled * fed * room / checked * x
    death = t["death_rate"] * death_warmth(warm) * (ethanol / 100.0) ** 2 * x

    hunger = np.maximum(1.0 - cell_n / (total * t["cell_n_max"]), 0.0)
    opening = np.maximum(1.0 - ethanol / t["ethanol_nitrogen_end"], 0.0)
    carried = t["nitrogen_uptake_max"] * theta * readiness * stress * opening * hunger
    seen = t["nitrogen_half"] + ammonium + t["amino_preference"] * amino
    take_ammonium = carried * x * ammonium / seen
    take_amino = carried * x * t["amino_preference"] * amino / seen

    fermented = take_glucose + take_fructose - SUGAR_PER_CELLS * growth
    per_sugar = yields(traits)
    out = np.empty_like(state)
    out[0] = growth - death
    out[1] = death
    out[2] = -take_ammonium
    out[3] = -take_amino
    out[4] = take_ammonium + take_amino
    out[5] = -take_glucose
    out[6] = -take_fructose
    out[7] = per_sugar["ethanol"] * fermented
    out[8] = per_sugar["co2"] * fermented
    out[9] = per_sugar["glycerol"] * fermented
    out[10] = per_sugar["byproducts"] * fermented
    store = np.maximum(cell_n / total - t["cell_n_min"], 0.0)
    full = (1.0 + STORE_HALF) * store / (store + STORE_HALF * t["cell_n_span"])
    aim = t["capacity_min"] + (1.0 - t["capacity_min"]) * np.minimum(full, 1.0)
    out[11] = t["capacity_rate"] * theta * (aim - capacity)
    out[12] = t["readiness_rate"] * theta * readiness * (1.0 - readiness)
    heat = SUGAR_HEAT_KJ_G / MUST_HEAT_CAPACITY_KJ_L_K * (take_glucose + take_fructose)
    cooling = np.clip(2.0 * (warm - around.cool_above_c), 0.0, around.cool_max_k_h)
    out[13] = (
        around.slope_k_h
        + around.heating * heat
        - around.loss_per_h * (warm - around.room_c)
        - cooling
    )
    return out


def carbon_g_l(state: Floats) -> Any:
    """Carbon in everything the model counts [g/L]; constant along a fermentation without feeds."""
    dissolved = sum(share * state[INDEX[name]] for name, share in CARBON.items())
    return dissolved + CELL_CARBON * (state[INDEX["active"]] + state[INDEX["dead"]])


def nitrogen_g_l(state: Floats) -> Any:
    """Nitrogen in must and cells [g/L]; changes only with a feed."""
    return state[INDEX["ammonium_n"]] + state[INDEX["amino_n"]] + state[INDEX["cell_n"]]


def solve(
    state: Floats,
    traits: dict[str, Any],
    around: Callable[[float], Surroundings],
    times_h: Floats,
    rtol: float = 1e-9,
) -> Floats:
    """Integrate one member without feeds by a stiff library solver; the yardstick of the kernel.

    Parameters
    ----------
    state : ndarray
        Start, one value for each of `STATES`.
    around : callable
        Surroundings at a time [h].
    times_h : ndarray
        Where the answer is wanted; the first is the start.

    Returns
    -------
    ndarray
        States by times.
    """
    from scipy.integrate import solve_ivp

    missing = set(TRAITS) - set(traits)
    if missing:
        raise KeyError(f"traits lack {sorted(missing)}")
    answer = solve_ivp(
        lambda time, y: rates(y, traits, around(time)),
        (times_h[0], times_h[-1]),
        state,
        method="LSODA",
        t_eval=times_h,
        rtol=rtol,
        atol=rtol * 1e-4,  # readiness starts near 1e-5
    )
    return np.asarray(answer.y)
