"""Constants that all fermentations share, by least squares on the synthetic must of Harle2020.

It is the only set with sugars, cells and CO2 over the whole course. The eight runs agree to about
1 g/L, far better than the model can, so the errors given to the points are those of the model.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from calibration.measured import CELLS_G, columns, synthetic
from mustwright.kinetics import members, observe, simulate
from mustwright.kinetics.ensemble import KEPT, START
from mustwright.kinetics.parameters import EFFECTS, TRAITS, prior, raw, typical

Floats = NDArray[np.float64]

SHARED = {"glucose_half": 0.4, "fructose_half": 0.4, "cells_max": 0.15, "nitrogen_uptake_max": 0.3}
OWN = {
    "uptake_max": 0.3,
    "growth_max": 0.3,
    "lag": 0.4,
    "ethanol_half": 0.3,
    "ethanol_yield": 0.01,
    "death_rate": 0.6,
    "cell_n_min": 0.15,
}
# The walk of the shape is the must's own too; it keeps the tail from being told by the ethanol term
# alone, which would then carry over to other media.
BENDS = {"shape_b": 0.18, "shape_c": 0.22, "shape_d": 0.33, "shape_e": 0.40}
PRIOR_SD = SHARED | OWN | BENDS  # of the logarithm
SD_CO2, SD_RATE, SD_SUGAR, SD_CELLS = 0.8, 0.02, 3.0, 0.15  # g/L, g/L/h, g/L, logarithm


def course(u: Floats, times_h: Floats) -> simulate.Run:
    """Runs of the synthetic must at scaled parameters, one column of `u` each."""
    must, conditions = synthetic()
    built = members.build(must, conditions, np.zeros((len(EFFECTS), u.shape[1])), prior())
    value = {n: raw(n) * np.exp(u[k] * sd) for k, (n, sd) in enumerate(PRIOR_SD.items())}
    value |= {n: u[list(PRIOR_SD).index(n)] * sd for n, sd in BENDS.items()}
    for k, row in enumerate(members.shape_line({"shape_a": np.zeros(u.shape[1])} | value)):
        built.traits[TRAITS.index(f"shape_{k}")] = row
    for name in value:
        if name in TRAITS:
            built.traits[TRAITS.index(name)] = value[name]
    span = raw("cell_n_max") - value["cell_n_min"]
    built.traits[TRAITS.index("cell_n_span")] = span
    active = built.start[START.index("active")]
    lipids = (built.traits[TRAITS.index("cells_end")] - active) / typical()["cells_max"]
    built.traits[TRAITS.index("cells_end")] = value["cells_max"] * lipids + active
    poor = 1.0 + raw("lipid_death") * (1.0 - lipids) ** 2
    built.traits[TRAITS.index("death_rate")] = value["death_rate"] * poor
    ready = 1 / (1 + np.exp(raw("readiness_rate") * value["lag"]))
    built.start[START.index("readiness")] = ready
    return simulate.run(built, conditions, at_h=times_h)


def misses(u: Floats) -> Floats:
    """Scaled misses by columns of `u`."""
    gas, cells = columns("synthetic_must_co2_mean"), columns("synthetic_must_metabolites_mean")
    times = np.union1d(gas["t_h"], cells["t_h"])
    run = course(u, times)
    at_gas = np.searchsorted(times, gas["t_h"])[::4]
    at = np.searchsorted(times, cells["t_h"])
    out = observe.released(run.co2_g_l.astype(float))[at_gas]
    seen = gas["co2_g_l"][::4]
    step = np.diff(gas["t_h"][::4])[:, None]
    parts = [(out - seen[:, None]) / SD_CO2]
    parts.append((np.diff(out, axis=0) / step - np.diff(seen)[:, None] / step) / SD_RATE)
    late = cells["t_h"] > 10  # the sample at 6 h is low (mixing)
    for name in ("glucose", "fructose"):
        miss = (run.kept[KEPT.index(name)][at] - cells[f"{name}_g_l"][:, None]) / SD_SUGAR
        parts.append(miss[late])
    dry = cells["cells_per_ml"] * CELLS_G * 1000
    total = run.kept[KEPT.index("total")][at]
    parts.append(((np.log(total) - np.log(dry)[:, None]) / SD_CELLS)[late & (cells["t_h"] < 300)])
    return np.nan_to_num(np.concatenate(parts))


def fit() -> tuple[dict[str, float], dict[str, float], float]:
    """Shared constants, the must's own parameters, and the root mean square scaled miss."""
    count = len(PRIOR_SD)

    def at(u: Floats) -> Floats:
        columns_ = np.repeat(u[:, None], count + 1, axis=1)
        columns_[np.arange(count), np.arange(1, count + 1)] += 1e-3
        return misses(columns_)

    answer = least_squares(
        lambda u: np.concatenate([at(u)[:, 0], u]),
        np.zeros(count),
        jac=lambda u: np.concatenate([(at(u)[:, 1:] - at(u)[:, :1]) / 1e-3, np.eye(count)]),
    )
    value = {
        n: float(raw(n) * np.exp(answer.x[k] * sd)) for k, (n, sd) in enumerate(PRIOR_SD.items())
    }
    value |= {n: float(answer.x[list(PRIOR_SD).index(n)] * sd) for n, sd in BENDS.items()}
    rms = float(np.sqrt(np.mean(at(answer.x)[:, 0] ** 2)))
    return {n: value[n] for n in SHARED}, {n: value[n] for n in OWN | BENDS}, rms
