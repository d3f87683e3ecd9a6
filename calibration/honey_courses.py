"""How well members meet the measured honey courses: log likelihoods for the honey population."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration import honey
from mustwright.kinetics import members, observe, simulate
from mustwright.kinetics.inputs import told_feeding
from mustwright.kinetics.parameters import Population

Floats = NDArray[np.float64]

# Gas: when shares of all bubbles have come, and the error of the logarithm of that time. A leaking
# airlock and a guessed hour of pitch blur the ends most (assumed).
SHARES = ((0.1, 0.35), (0.5, 0.10), (0.9, 0.20))
SD_BRIX = 0.8  # of the refractometer course: half degrees, and what the model cannot do
EVERY = 3  # points of it that count, since errors run along


def likelihoods(z: Floats, who: Population) -> dict[str, Floats]:
    """Log likelihood of each member, by course, up to a constant.

    Parameters
    ----------
    z : ndarray
        Standard normal numbers, effects by members.
    who : Population
    """
    found = {one.name: _gas(one, z, who) for one in honey.gas_musts()}
    return found | {"berry": _berry(z, who)}


def _gas(one: honey.GasMust, z: Floats, who: Population) -> Floats:
    hours = np.arange(0.0, float(one.t_h[-1]) + 1.0, 3.0)
    must = told_feeding(one.must, bool(one.feeds))
    built = members.build(must, one.conditions, z, who)
    run = simulate.run(built, one.conditions, one.feeds, hours, must.gravity, 1.0)
    gas = observe.released(run.co2_g_l[: hours.size].astype(float))
    seen = honey.gas_of(one.t_h, one.rate)
    log = np.zeros(z.shape[1])
    for share, sd in SHARES:
        at = crossing(hours, gas, share * gas[-1])
        wanted = float(np.interp(share * seen[-1], seen, one.t_h))
        log -= 2.5 * np.log1p((np.log(np.maximum(at, 1.0) / max(wanted, 1.0)) / sd) ** 2 / 4)
    return log


def crossing(times: Floats, rising: Floats, level: Floats) -> Floats:
    """When each member (column) of a rising quantity reaches its level [h]."""
    at = np.clip((rising < level).sum(axis=0), 1, times.size - 1)
    column = np.arange(rising.shape[1])
    low, high = rising[at - 1, column], rising[at, column]
    part = np.clip((level - low) / np.maximum(high - low, 1e-9), 0.0, 1.0)
    return np.asarray(times[at - 1] + part * (times[at] - times[at - 1]))


def _berry(z: Floats, who: Population) -> Floats:
    must, conditions, seen = honey.berry()
    must = told_feeding(must, False)
    ok = np.flatnonzero(np.isfinite(seen["brix_refractometer_raw"]))[::EVERY]
    hours = seen["t_h"][ok]
    run = simulate.run(
        members.build(must, conditions, z, who), conditions, (), hours, must.gravity, 1.0
    )
    rows = np.searchsorted(run.times_h, hours - 1e-6)
    told = refractometer_brix(run.extract_g_l[rows], run.ethanol_g_l[rows])
    miss = (told - seen["brix_refractometer_raw"][ok][:, None]) / SD_BRIX
    return np.asarray(-2.5 * np.log1p(miss**2 / 4).sum(axis=0))


def refractometer_brix(extract_g_l: Floats, ethanol_g_l: Floats) -> Floats:
    """What a refractometer shows [Brix], by the tool's own relation on a grid (it is slow)."""
    from scipy.interpolate import RegularGridInterpolator

    from mustwright.must.refraction import (
        brix_from_refractive_index,
        refractive_index_from_composition,
    )

    extract, ethanol = np.linspace(0, 420, 85), np.linspace(0, 180, 37)
    grid = np.meshgrid(extract, ethanol, indexing="ij")
    brix = brix_from_refractive_index(refractive_index_from_composition(*grid))
    table = RegularGridInterpolator((extract, ethanol), brix, bounds_error=False, fill_value=None)
    shape = np.shape(extract_g_l)
    return np.asarray(table((np.ravel(extract_g_l), np.ravel(ethanol_g_l))).reshape(shape))
