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
    NITROGEN_G_MOL,
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
    "base",  # strong base left to the one acid that stands for all [meq/L]
    "potassium",  # [mmol/L]
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

SHAPE_KNOTS = (0.15, 0.45, 0.75)  # shares of sugar left at which the shape line bends
# A proton for each ammonium nitrogen taken up, a tenth of it held by phosphate and the acids made:
# fitted by hand to the lowest pH of the charge balance (docs/acidity.md: 3.59, 3.16 and 2.76).
AMMONIUM_MEQ_G = 0.9 * 1000 / NITROGEN_G_MOL
# Alcohol lifts each pK by 0.0155 per % vol to 12 % (docs/acidity.md): the constant falls to 0.63 at
# 100 g/L, here on a straight line that ends at a half.
ACID_BY_ETHANOL, LEAST_ACID = 0.0037, 0.5
POTASSIUM_RATIO = 25.0  # mol per mol hydrogen ion, Kudo1998 (from memory)
POTASSIUM_SCALE = 25.0  # mmol/L of potassium lacking that count as all of it (assumed)
ACID_CEILING = 0.08  # rise of ethanol stress at the pH that halves uptake (assumed)
# Weight of the osmotic term of growth on uptake: strong musts start slowly (assumed; of the order
# of the Andrews term of Zentou2019, second-hand).
OSMOTIC_UPTAKE = 0.35
CHILL = 0.05  # share of the pace lost per K below what the kind likes (assumed; range: the label's)
LEAST_CHILL = 0.15  # of the pace, however cold for the kind (assumed; the law of uptake acts too)
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


def hydrogen(base: Any, total: Any, constant: Any, ethanol: Any) -> Any:
    """Hydrogen ions [mmol/L] of one weak acid: ``base + h = total K / (K + h)``, solved for h.

    Parameters
    ----------
    base : array_like
        Strong base less strong acid [meq/L].
    total : array_like
        Of the acid, above 0 [mmol/L].
    constant : array_like
        Its constant without alcohol, above 0 [mmol/L].
    ethanol : array_like
        0 to 200 [g/L].

    Returns
    -------
    array_like
        At least 1e-4 [mmol/L].
    """
    k = constant * np.maximum(1.0 - ACID_BY_ETHANOL * ethanol, LEAST_ACID)
    b = k + base
    root = np.sqrt(b * b + 4.0 * k * (total - base))
    return np.maximum(0.5 * (root - b), 1e-4)


def shape(left: Any, t: dict[str, Any]) -> Any:
    """Departure of the rate from the model's at a share of sugar left: a broken line."""
    out = t["shape_0"] + t["shape_1"] * left
    for k, knot in enumerate(SHAPE_KNOTS):
        out = out + t[f"shape_{k + 2}"] * np.maximum(left - knot, 0.0)
    return out


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
        One value (or one row of members) for each name of `STATES` [any unit].
    traits : dict
        One value (or one row of members) for each name of `parameters.TRAITS`.
    around : Surroundings

    Returns
    -------
    ndarray
        Same shape as `state`, per hour [any unit].

    Notes
    -----
    With ``X`` active and ``D`` dead cells, ``q`` nitrogen per cells, ``S = G + F``:

    - sugar transport, competition of two sugars for one carrier:
      ``g = (G/K_G) / (1 + G/K_G + F/K_F)`` and ``f`` likewise, so that glucose goes first;
    - acid: ``B + h = C K / (K + h)``, one weak acid for all; ``B`` falls by one per ammonium taken
      up and by 0.4 meq per g of cells grown; ``y = (h / h_half)^2``;
    - vigour ``w = P a m c / ((1 + E/K_E)(1 + y)(1 + 0.35 (S/S_o)^2)) * (1 - (E H/E_end)^12)``:
      capacity, readiness, shape line ``m``, cold ``c`` for the kind, the hyperbolic ethanol term
      that fits Harle2020 best, acid, sugar, and the strain's ceiling (shape of Luong1985), which
      heat, acid and a lack of potassium (Kudo1998) lower: ``H``;
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
    - death ``k_d delta(T) (E/100)^2`` (Coleman2007, steeper in ethanol) and, in heat,
      ``k_h (T - T_h)^2 (0.15 + E/50)`` (assumed; after Phisalaphong2006);
    - sugar not built into cells becomes ethanol, CO2, glycerol and by-products in fixed shares.
    """
    x, dead, ammonium, amino, cell_n, glucose, fructose, ethanol = state[:8]
    capacity, readiness, warm = state[11], state[12], state[13]
    t = traits
    g = glucose / t["glucose_half"]
    f = fructose / t["fructose_half"]
    filled = 1.0 + g + f
    stress = 1.0 / (1.0 + ethanol / t["ethanol_half"])
    h = hydrogen(state[14], t["acid_total"], t["acid_constant"], ethanol)
    sour = (h / t["acid_half"]) ** 2
    lack = np.clip((POTASSIUM_RATIO * h - state[15]) / POTASSIUM_SCALE, 0.0, 1.0)
    hot = 1.0 + t["heat_tolerance_loss"] * np.maximum(warm - HOT_C, 0.0)
    hot = hot * (1.0 + ACID_CEILING * sour + t["potassium_loss"] * lack)
    ceiling = np.maximum(1.0 - (ethanol / t["ethanol_end"] * hot) ** 12, 0.0)
    strong = ((glucose + fructose) / t["sugar_osmotic"]) ** 2
    chill = np.clip(1.0 - CHILL * (t["cold_from"] - warm), LEAST_CHILL, 1.0)
    bend = shape((glucose + fructose) / t["sugar_start"], t)
    vigour = capacity * readiness * bend * chill * stress * ceiling
    vigour = vigour / ((1.0 + sour) * (1.0 + OSMOTIC_UPTAKE * strong))
    theta = uptake_warmth(warm, t["uptake_temperature_zero"])
    take_glucose = t["uptake_max"] * theta * vigour * g / filled * x
    take_fructose = t["uptake_max"] * theta * vigour * f / filled * x

    total = x + dead
    fed = np.maximum(1.0 - t["cell_n_min"] * total / cell_n, 0.0)
    room = np.maximum(1.0 - total / t["cells_end"], 0.0)
    checked = (1.0 + (ethanol / t["ethanol_growth_half"]) ** 4) * (1.0 + strong)
    phi = growth_warmth(warm)
    growth = t["growth_max"] * phi * vigour * (g + f) / filled * fed * room / checked * x
    over = np.maximum(warm - t["heat_from"], 0.0) ** 2
    death = t["death_rate"] * death_warmth(warm) * (ethanol / 100.0) ** 2 * x
    death = death + t["heat_death"] * over * (0.15 + ethanol / 50.0) * x

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
    out[14] = -AMMONIUM_MEQ_G * take_ammonium - t["acid_per_cells"] * growth
    out[15] = 0.0
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
        Start, one value for each of `STATES` [any unit].
    traits : dict
        One value for each name of `parameters.TRAITS`.
    around : callable
        Surroundings at a time [h].
    times_h : ndarray
        Where the answer is wanted, rising; the first is the start [h].
    rtol : float
        Relative tolerance of the library's solver, 1e-12 to 1e-2 [-].

    Returns
    -------
    ndarray
        States by times [any unit].
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
