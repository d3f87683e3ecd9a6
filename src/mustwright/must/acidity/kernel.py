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
def _warmed(steps, pk, dh, dcp, extra, kelvin, k, kx):  # type: ignore[no-untyped-def]
    """Dissociation constants at a temperature, without alcohol and lactone."""
    u = 1 / kelvin - 1 / 298.15
    v = 298.15 / kelvin - 1 + math.log(kelvin / 298.15)
    for j in range(steps.size):
        for s in range(steps[j]):
            k[j, s] = math.exp(-pk[j, s] * LN10 - dh[j, s] / R * u + dcp[j, s] / R * v)
    for s in range(3):
        kx[s] = math.exp(-extra[s, 0] * LN10 - extra[s, 1] / R * u + extra[s, 2] / R * v)


@njit(inline="always", **_OPTIONS)
def _shifted(steps, warm, warm_x, shifted, shift, lift, k, kx):  # type: ignore[no-untyped-def]
    """Dissociation constants of one row: alcohol raises every pK but water's, lactone one."""
    lower = math.exp(-shift * LN10)
    for j in range(steps.size):
        factor = lower * math.exp(-lift * LN10) if j == shifted else lower
        for s in range(steps[j]):
            k[j, s] = warm[j, s] * factor
    kx[0], kx[1], kx[2] = warm_x[0], warm_x[1] * lower, warm_x[2] * lower


@njit(inline="always", **_OPTIONS)
def _apparent(steps, top, k, kx, a, ionic, cap, c, cx):  # type: ignore[no-untyped-def]
    """Constants between the activity of H+ and concentrations; the activity coefficient too."""
    i = min(max(ionic, 0.0), cap)
    root = math.sqrt(i)
    g = math.exp(-LN10 * a * (root / (1 + root) - 0.3 * i))
    once = 1 / g  # a product is quicker than a division
    twice = once * once
    for j in range(steps.size):
        f = g if top[j] == 1 else once
        for s in range(steps[j]):
            c[j, s] = k[j, s] * f
            f *= twice
    cx[0] = kx[0] * once
    cx[1] = kx[1] * once
    cx[2] = kx[2] * once * twice
    return g


@njit(inline="always", **_OPTIONS)
def _charge(steps, top, totals, c, cx, g, co2, x):  # type: ignore[no-untyped-def]
    """Charge of all weak ions at the activity exp(x), its slope in x, and twice the ionic part."""
    h = math.exp(x)
    per_h = 1 / h
    proton = h / g
    hydroxide = cx[0] * per_h
    bicarbonate = cx[1] * co2 * per_h
    carbonate = bicarbonate * cx[2] * per_h
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
            weight *= c[j, s] * per_h
            n = s + 1
            sum0 += weight
            sum1 += n * weight
            sum2 += n * n * weight
        part = 1 / sum0
        mean = sum1 * part
        square = sum2 * part
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
    warm, k, c = np.zeros_like(pk), np.zeros_like(pk), np.zeros_like(pk)
    warm_x, kx, cx = np.zeros(3), np.zeros(3), np.zeros(3)
    for r in range(rows):
        if r == 0 or kelvin[r] != kelvin[r - 1]:
            _warmed(steps, pk, dh, dcp, extra, kelvin[r], warm, warm_x)
        _shifted(steps, warm, warm_x, shifted, shift[r], lift[r], k, kx)
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
                x -= step
                if abs(step) < 1e-10:  # the error left is of the order of its square
                    break
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
    warm, k, c = np.zeros_like(pk), np.zeros_like(pk), np.zeros_like(pk)
    warm_x, kx, cx = np.zeros(3), np.zeros(3), np.zeros(3)
    for r in range(rows):
        if r == 0 or kelvin[r] != kelvin[r - 1]:
            _warmed(steps, pk, dh, dcp, extra, kelvin[r], warm, warm_x)
        _shifted(steps, warm, warm_x, shifted, shift[r], lift[r], k, kx)
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
