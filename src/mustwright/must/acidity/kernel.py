"""The charge balance, row by row, compiled: the same numbers as `balance`, many times faster."""

# Numba compiles these functions; they are plain loops on purpose and carry no annotations it
# could not use.

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

from mustwright.constants import GAS_CONSTANT_J_MOL_K

_OPTIONS: dict[str, Any] = {"cache": True, "error_model": "numpy", "nogil": True}
R = GAS_CONSTANT_J_MOL_K
LN10 = math.log(10.0)
LOWEST, HIGHEST = -2.0, 16.0
SWEEPS, NEWTON = 80, 80


@njit(inline="always", **_OPTIONS)
def _constants(steps, pk, dh, dcp, extra, shifted, kelvin, shift, lift, k, kx):  # type: ignore[no-untyped-def]
    """Dissociation constants of one row at its temperature, alcohol and lactone."""
    u = 1 / kelvin - 1 / 298.15
    v = 298.15 / kelvin - 1 + math.log(kelvin / 298.15)
    for j in range(steps.size):
        for s in range(steps[j]):
            p = pk[j, s] + shift + (lift if j == shifted else 0.0)
            k[j, s] = math.exp(-p * LN10 - dh[j, s] / R * u + dcp[j, s] / R * v)
    for s in range(3):
        p = extra[s, 0] + (shift if s > 0 else 0.0)
        kx[s] = math.exp(-p * LN10 - extra[s, 1] / R * u + extra[s, 2] / R * v)


@njit(inline="always", **_OPTIONS)
def _apparent(steps, top, k, kx, a, ionic, cap, c, cx):  # type: ignore[no-untyped-def]
    """Constants between the activity of H+ and concentrations; the activity coefficient too."""
    i = min(max(ionic, 0.0), cap)
    root = math.sqrt(i)
    g = math.exp(-LN10 * a * (root / (1 + root) - 0.3 * i))
    g3 = g * g * g
    for j in range(steps.size):
        if top[j] == 1:
            f = g
            for s in range(steps[j]):
                c[j, s] = k[j, s] * f
                f = f / (g * g)
        else:
            f = 1 / g
            for s in range(steps[j]):
                c[j, s] = k[j, s] * f
                f = f / (g * g)
    cx[0] = kx[0] / g
    cx[1] = kx[1] / g
    cx[2] = kx[2] / g3
    return g


@njit(inline="always", **_OPTIONS)
def _charge(steps, top, totals, c, cx, g, co2, x):  # type: ignore[no-untyped-def]
    """Charge of all weak ions at the activity exp(x), its slope in x, and twice the ionic part."""
    h = math.exp(x)
    proton = h / g
    hydroxide = cx[0] / h
    bicarbonate = cx[1] * co2 / h
    carbonate = bicarbonate * cx[2] / h
    charge = proton - hydroxide - bicarbonate - 2 * carbonate
    slope = proton + hydroxide + bicarbonate + 4 * carbonate
    squares = proton + hydroxide + bicarbonate + 4 * carbonate
    for j in range(steps.size):
        total = totals[j]
        if total <= 0.0:
            continue
        weight = 1.0
        sum0, sum1, sum2 = 1.0, 0.0, 0.0
        for s in range(steps[j]):
            weight *= c[j, s] / h
            n = s + 1
            sum0 += weight
            sum1 += n * weight
            sum2 += n * n * weight
        mean = sum1 / sum0
        square = sum2 / sum0
        charge += total * (top[j] - mean)
        slope += total * (square - mean * mean)
        squares += total * (top[j] * top[j] - 2 * top[j] * mean + square)
    return charge, slope, squares


@njit(inline="always", **_OPTIONS)
def _next(ionic, gap, before, gap_before, cap):  # type: ignore[no-untyped-def]
    """Next trial of the ionic strength: a secant step, kept to a sane size."""
    slope = 1.0
    if gap_before != 0.0 and gap != gap_before:
        slope = (ionic - before) / (gap_before - gap)
        if not 0.1 <= slope <= 10.0:
            slope = 1.0
    return min(max(ionic + slope * gap, 0.0), cap)


@njit(**_OPTIONS)
def solve(  # type: ignore[no-untyped-def]
    steps,
    top,
    pk,
    dh,
    dcp,
    extra,
    shifted,
    totals,
    sid,
    strong,
    kelvin,
    shift,
    lift,
    a,
    co2,
    guess,
    cap,
):
    """Find the pH of each row; never NaN, as the bracket holds for every finite input.

    Parameters
    ----------
    steps, top : ndarray of int
        Dissociation steps of each acid, and the charge of its fully protonated form.
    pk, dh, dcp : ndarray
        Acids by steps, at 25 °C [-], [J/mol], [J/(mol K)].
    extra : ndarray
        The same three for water and both steps of carbonic acid [-], [J/mol], [J/(mol K)].
    shifted : int
        Index of the acid whose pK `lift` raises, or -1.
    totals : ndarray
        Rows by acids, at least 0 [mol/kg].
    sid, strong, co2 : ndarray
        As in `Solution` [mol/kg].
    kelvin : ndarray
        273 to 318 [K].
    shift, lift : ndarray
        Rise of every pK by alcohol, and of the shifted acid's alone [-].
    a : ndarray
        Slope of the Davies equation, as from `debye_slope` [kg^0.5/mol^0.5].
    guess : ndarray
        pH to start from, -2 to 16 [-].
    cap : float
        Ionic strength above which activity coefficients stay constant [mol/kg].

    Returns
    -------
    ndarray
        pH [-].
    """
    rows = sid.size
    out = np.empty(rows)
    k, c = np.zeros_like(pk), np.zeros_like(pk)
    kx, cx = np.zeros(3), np.zeros(3)
    for r in range(rows):
        if (
            r == 0
            or kelvin[r] != kelvin[r - 1]
            or shift[r] != shift[r - 1]
            or lift[r] != lift[r - 1]
        ):
            _constants(steps, pk, dh, dcp, extra, shifted, kelvin[r], shift[r], lift[r], k, kx)
        x = -LN10 * guess[r]
        ionic = min(strong[r] + 0.5 * abs(sid[r]), cap)
        before, gap_before = ionic, 0.0
        for _ in range(SWEEPS):
            g = _apparent(steps, top, k, kx, a[r], ionic, cap, c, cx)
            low, high = -LN10 * HIGHEST, -LN10 * LOWEST
            squares = 0.0
            for _n in range(NEWTON):
                charge, slope, squares = _charge(steps, top, totals[r], c, cx, g, co2[r], x)
                f = charge + sid[r]
                if f > 0:
                    high = x
                else:
                    low = x
                step = f / slope
                if abs(step) < 1e-12:
                    break
                x -= step
                if x <= low or x >= high:
                    x = 0.5 * (low + high)
                if high - low < 1e-13:
                    break
            new = strong[r] + 0.5 * abs(sid[r]) + 0.5 * squares
            gap = min(new, cap) - ionic
            if abs(gap) < 1e-11:
                break
            before, ionic, gap_before = ionic, _next(ionic, gap, before, gap_before, cap), gap
        out[r] = -x / LN10
    return out


@njit(**_OPTIONS)
def needed(  # type: ignore[no-untyped-def]
    steps,
    top,
    pk,
    dh,
    dcp,
    extra,
    shifted,
    totals,
    sid,
    strong,
    kelvin,
    shift,
    lift,
    a,
    co2,
    ph,
    cap,
):
    """Find the strong-ion difference each row needs to stand at a pH; what is added is strong ions.

    Parameters
    ----------
    steps, top : ndarray of int
        As in `solve`, and so are the others but `ph`.
    pk, dh, dcp : ndarray
        [-], [J/mol], [J/(mol K)].
    extra : ndarray
        [-], [J/mol], [J/(mol K)].
    shifted : int
    totals, sid, strong, co2 : ndarray
        [mol/kg].
    kelvin : ndarray
        [K].
    shift, lift : ndarray
        [-].
    a : ndarray
        [kg^0.5/mol^0.5].
    ph : ndarray
        Wanted pH, -2 to 16 [-].
    cap : float
        [mol/kg].

    Returns
    -------
    ndarray
        Strong-ion difference [mol/kg].
    """
    rows = sid.size
    out = np.empty(rows)
    k, c = np.zeros_like(pk), np.zeros_like(pk)
    kx, cx = np.zeros(3), np.zeros(3)
    for r in range(rows):
        if (
            r == 0
            or kelvin[r] != kelvin[r - 1]
            or shift[r] != shift[r - 1]
            or lift[r] != lift[r - 1]
        ):
            _constants(steps, pk, dh, dcp, extra, shifted, kelvin[r], shift[r], lift[r], k, kx)
        x = -LN10 * ph[r]
        ionic = min(strong[r] + 0.5 * abs(sid[r]), cap)
        before, gap_before = ionic, 0.0
        want = sid[r]
        for _ in range(SWEEPS):
            g = _apparent(steps, top, k, kx, a[r], ionic, cap, c, cx)
            charge, _slope, squares = _charge(steps, top, totals[r], c, cx, g, co2[r], x)
            want = -charge
            new = strong[r] + 0.5 * (abs(sid[r]) + abs(want - sid[r]) + squares)
            gap = min(new, cap) - ionic
            if abs(gap) < 1e-11:
                break
            before, ionic, gap_before = ionic, _next(ionic, gap, before, gap_before, cap), gap
        out[r] = want
    return out
