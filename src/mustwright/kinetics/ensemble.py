"""Ten thousand fermentations at once: the compiled form of `mustwright.kinetics.model`.

The same equations as `model.rates`, arranged for speed:

- members stand in blocks of `LANES`, one scratch array per block, no branches, so that the
  compiler fills vector registers; blocks run in parallel and never touch each other, so the
  answer does not depend on the number of threads;
- ethanol, CO2, glycerol, by-products and cell nitrogen follow from the balances (sugar gone,
  cells made, nitrogen gone) instead of being integrated: the balances hold exactly;
- classical Runge-Kutta of order 4 on the slow states; for nitrogen and the sugars the same
  method after an integrating factor ``exp(-lambda t)`` frozen at the start of each step
  (Lawson1967): exhaustion is fast against half an hour, and the plain method would overshoot;
- readiness is logistic, so ``1/a - 1`` shrinks by ``exp(-r theta h)``, exact at a steady
  temperature, with the temperature of the middle of the step otherwise.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from mustwright.constants import CO2_PER_ETHANOL_G_G
from mustwright.kinetics import model
from mustwright.kinetics.parameters import TRAITS

Floats = NDArray[np.float64]

LANES = 32
START = (
    "active",
    "total",
    "ammonium_n",
    "amino_n",
    "glucose",
    "fructose",
    "capacity",
    "readiness",
    "temperature",
    "cell_n",
    "ethanol",
    "solids",
    "base",
    "potassium",
)
KEPT = (
    "glucose",
    "fructose",
    "ethanol",
    "ammonium_n",
    "amino_n",
    "active",
    "total",
    "temperature",
    "hydrogen",
)
PEAKS = ("gas_g_l_h", "temperature", "hydrogen")
FEED_COLUMNS = (
    "at_h",
    "not_before_h",
    "gravity",
    "sugar_fraction",
    "lag_left",
    "skip_fraction",
    "ammonium_n",
    "amino_n",
    "base",
    "potassium",
)
ABSENT_H = 2e9  # a feed "at" this hour is not in the member's plan
_NT = len(TRAITS)
_NS = 9
_N_TOTAL, _SUGAR, _ETHANOL_0, _SUGAR_0, _SOLIDS = _NT, _NT + 1, _NT + 2, _NT + 3, _NT + 4
_Y = _NT + 5
_DRY, _GRAVITY, _LEFT, _BASE, _POTASSIUM, _FASTEST, _HOTTEST, _SOUREST = range(
    _Y + _NS, _Y + _NS + 8
)
_ROWS = _SOUREST + 1
_FEED_ROWS = len(FEED_COLUMNS)

_SPC = model.SUGAR_PER_CELLS
_T_MIN, _T_OPT, _T_MAX, _HOT = model.T_MIN, model.T_OPT, model.T_MAX, model.HOT_C
_CARD_A = (_T_OPT - _T_MIN) * (_T_OPT - _T_MIN + _T_OPT - _T_MAX + _T_OPT - _T_MAX)
_CARD_B = (_T_OPT - _T_MIN) * (-(_T_OPT - _T_MIN) * _T_OPT - (_T_OPT - _T_MAX) * (_T_OPT + _T_MIN))
_CARD_20 = float(model._cardinal(20.0))
_END, _FALL = model.UPTAKE_END_C, model.UPTAKE_FALL_K
_STORE_HALF = model.STORE_HALF
_MEQ = model.AMMONIUM_MEQ_G
_ACID_BY_ETHANOL, _LEAST_ACID = model.ACID_BY_ETHANOL, model.LEAST_ACID
_ACID_CEILING, _OSMOTIC = model.ACID_CEILING, model.OSMOTIC_UPTAKE
_CHILL, _LEAST_CHILL = model.CHILL, model.LEAST_CHILL
_KH, _KH_SCALE = model.POTASSIUM_RATIO, 1.0 / model.POTASSIUM_SCALE
_KNOT_1, _KNOT_2, _KNOT_3 = model.SHAPE_KNOTS
_HEAT = model.SUGAR_HEAT_KJ_G / model.MUST_HEAT_CAPACITY_KJ_L_K
_CO2_PER_ETHANOL = CO2_PER_ETHANOL_G_G
_C_SUGAR = model.CARBON["glucose"]
_C_ETHANOL, _C_CO2 = model.CARBON["ethanol"], model.CARBON["co2"]
_C_GLYCEROL = model.CARBON["glycerol"]
_FAST = {"contract", "arcp", "nsz", "reassoc", "afn"}
_OPTIONS: dict[str, Any] = {
    "fastmath": _FAST,
    "error_model": "numpy",
    "cache": True,
    "nogil": True,  # a server answers while a forecast runs
}


@njit(forceinline=True, **_OPTIONS)
def _rise(x):  # type: ignore[no-untyped-def]
    """exp(x/16) for 0 <= x <= 80 without a library call; error below 1e-9 for x up to 2."""
    z = min(x, 80.0) * 0.0625
    return 1.0 + z * (1.0 + z * (0.5 + z * (1 / 6 + z * (1 / 24 + z * (1 / 120 + z * (1 / 720))))))


@njit(forceinline=True, **_OPTIONS)
def _power_16(p):  # type: ignore[no-untyped-def]
    p = p * p
    p = p * p
    p = p * p
    return p * p


@njit(forceinline=True, **_OPTIONS)
def _decays(a, b, c, d, e):  # type: ignore[no-untyped-def]
    """exp(-a) to exp(-e) with one division among them."""
    p, q, r, s, t = _rise(a), _rise(b), _rise(c), _rise(d), _rise(e)
    pq = p * q
    rs = r * s
    one = 1.0 / (pq * rs * t)
    over_pq = one * rs * t
    over_rs = one * pq * t
    return (
        _power_16(over_pq * q),
        _power_16(over_pq * p),
        _power_16(over_rs * s),
        _power_16(over_rs * r),
        _power_16(one * pq * rs),
    )


@njit(forceinline=True, **_OPTIONS)
def _uptake_warmth(warm, zero, zero_i):  # type: ignore[no-untyped-def]
    """`model.uptake_warmth`, and its fall near the upper end."""
    rise = max(warm - zero, 0.0) * zero_i
    fall = min(max((_END - warm) * (1.0 / _FALL), 0.0), 1.0)
    return rise * rise * fall, fall


@njit(forceinline=True, **_OPTIONS)
def _hydrogen(base, ammonium, total, ethanol, acid_k, acid_total, acid_cells):  # type: ignore[no-untyped-def]
    """`model.hydrogen` from the ammonium left and the cells made."""
    strong = base + _MEQ * ammonium - acid_cells * total
    k = acid_k * max(1.0 - _ACID_BY_ETHANOL * ethanol, _LEAST_ACID)
    b = k + strong
    root = math.sqrt(b * b + 4.0 * k * (acid_total - strong))
    return max(0.5 * (root - b), 1e-4)


@njit(forceinline=True, **_OPTIONS)
def _rates(  # type: ignore[no-untyped-def]
    x, total, ammonium, amino, glucose, fructose, capacity, readiness, warm,
    uptake_max, growth_max, ethanol_half_i, ethanol_end_i, zero, zero_i, cell_n_min, death_rate,
    capacity_rate, store_half, ethanol_yield, osmotic_i, acid_half_i, glucose_i, fructose_i,
    growth_half_i,
    cells_i, cell_n_max_i, uptake_n, n_half, preference, n_end_i, capacity_min, heat_loss,
    n_total, sugar_0, ethanol_0,
    base, potassium, acid_k, acid_total, acid_cells, potassium_loss, heat_death, heat_from,
    cold_from, sugar_i, shape_0, shape_1, shape_2, shape_3, shape_4,
    slope, room_c, loss, heating, cool_above, cool_max,
):  # fmt: skip
    """Slow changes and the fractional loss rates of the four decaying states."""
    cell_n = n_total - ammonium - amino
    ethanol = ethanol_0 + ethanol_yield * (sugar_0 - glucose - fructose - _SPC * total)
    g = glucose * glucose_i
    f = fructose * fructose_i
    stress = 1.0 + ethanol * ethanol_half_i
    r2 = ethanol * growth_half_i
    r2 = r2 * r2
    o2 = (glucose + fructose) * osmotic_i
    tc = min(max(warm, _T_MIN), _T_MAX)
    seen = n_half + ammonium + preference * amino
    fed = max(cell_n - cell_n_min * total, 0.0)
    store_bottom = fed + store_half * total
    # one division for all denominators: 1/a = (b c) / (a b c)
    o2 = o2 * o2
    h = _hydrogen(base, ammonium, total, ethanol, acid_k, acid_total, acid_cells)
    sour = h * acid_half_i
    sour = sour * sour
    transport_bottom = (1.0 + g + f) * stress * ((1.0 + sour) * (1.0 + _OSMOTIC * o2))
    growth_bottom = (1.0 + r2 * r2) * (1.0 + o2) * (_CARD_A * tc + _CARD_B) * cell_n
    nitrogen_bottom = stress * total * seen
    stored_bottom = nitrogen_bottom * store_bottom
    left_two = growth_bottom * stored_bottom
    one = 1.0 / (transport_bottom * left_two)
    common = one * left_two
    over = one * transport_bottom
    over_growth = over * stored_bottom
    over_stored = over * growth_bottom
    lack = min(max((_KH * h - potassium) * _KH_SCALE, 0.0), 1.0)
    hot = 1.0 + heat_loss * max(warm - _HOT, 0.0)
    hot = hot * (1.0 + _ACID_CEILING * sour + potassium_loss * lack)
    e2 = ethanol * ethanol_end_i * hot
    e2 = e2 * e2
    e2 = e2 * e2 * e2
    ceiling = max(1.0 - e2 * e2, 0.0)
    chill = min(max(1.0 - _CHILL * (cold_from - warm), _LEAST_CHILL), 1.0)
    s = (glucose + fructose) * sugar_i
    bend = shape_0 + shape_1 * s + shape_2 * max(s - _KNOT_1, 0.0)
    bend += shape_3 * max(s - _KNOT_2, 0.0) + shape_4 * max(s - _KNOT_3, 0.0)
    vigour = capacity * readiness * (bend * chill) * ceiling * common
    theta, fall = _uptake_warmth(warm, zero, zero_i)
    flow = uptake_max * theta * vigour * x
    lose_glucose = flow * glucose_i
    lose_fructose = flow * fructose_i

    left = max(1.0 - total * cells_i, 0.0)
    cardinal = (tc - _T_MAX) * (tc - _T_MIN) * (tc - _T_MIN) * (1.0 / _CARD_20) * fall
    growth = growth_max * cardinal * vigour * (g + f) * fed * left * x * over_growth
    w = warm * 0.05
    w = max(w, 0.0)
    w = w * w
    over = max(warm - heat_from, 0.0)
    burnt = heat_death * over * over * (0.15 + 0.02 * ethanol)
    d = (death_rate * (0.7 + 0.3 * w * w * w) * ethanol * ethanol * 1e-4 + burnt) * x

    hunger = max(total - cell_n * cell_n_max_i, 0.0)
    opening = max(1.0 - ethanol * n_end_i, 0.0)
    carried = uptake_n * theta * readiness * opening * hunger * store_bottom * over_stored
    lose_ammonium = carried * x
    lose_amino = carried * x * preference
    full = (1.0 + _STORE_HALF) * fed * nitrogen_bottom * over_stored
    aim = capacity_min + (1.0 - capacity_min) * min(full, 1.0)
    change_capacity = capacity_rate * theta * (aim - capacity)
    cooling = min(max(2.0 * (warm - cool_above), 0.0), cool_max)
    taken = lose_glucose * glucose + lose_fructose * fructose
    change_warm = slope + heating * _HEAT * taken - loss * (warm - room_c) - cooling
    return (
        growth - d, growth, lose_ammonium, lose_amino, lose_glucose, lose_fructose,
        change_capacity, change_warm,
    )  # fmt: skip


@njit(forceinline=True, **_OPTIONS)
def gravity_polynomial(extract, ethanol, coefficients):  # type: ignore[no-untyped-def]
    """Apparent gravity from the polynomial of `observe.gravity_coefficients`.

    Parameters
    ----------
    extract, ethanol : float
        0 to 620 and 0 to 180 [g/L].
    coefficients : ndarray
        Eleven, of `observe.gravity_coefficients`.

    Returns
    -------
    float
        20/20 [-].
    """
    a = extract * 0.01
    b = ethanol * 0.01
    c = coefficients
    top = c[0] + a * (c[1] + a * (c[2] + a * (c[3] + a * (c[4] + a * c[5]))))
    return top + b * (c[6] + b * (c[7] + b * (c[8] + b * (c[9] + b * c[10]))))


@njit(forceinline=True, **_OPTIONS)
def left_of_sugar(ethanol_yield, glycerol_yield):  # type: ignore[no-untyped-def]
    """Glycerol and by-products per sugar fermented; `model.yields` in scalars."""
    co2 = ethanol_yield * _CO2_PER_ETHANOL
    carbon = ethanol_yield * _C_ETHANOL + co2 * _C_CO2 + glycerol_yield * _C_GLYCEROL
    return glycerol_yield + (_C_SUGAR - carbon) / _C_SUGAR


@njit(parallel=True, **_OPTIONS)
def run_blocks(  # type: ignore[no-untyped-def]
    traits, start, steps, slope, room, loss, heating, cool_above, cool_max,
    feeds, keep_at, gravity_c, dry_below, out, fed_at, dry_at, peaks,
):  # fmt: skip
    """All members through all steps; `simulate.run_plans` fills the arrays and reads them.

    Parameters
    ----------
    traits : ndarray
        `parameters.TRAITS` by members, a multiple of `LANES`, each in its own unit [any unit].
    start : ndarray
        `START` by members, each in its own unit [any unit].
    steps : ndarray
        Lengths of the steps, at most 2 [h].
    slope : ndarray
        Imposed change of temperature, by step [K/h].
    room : ndarray
        Room temperature at the ends of the steps [°C].
    loss : ndarray
        Heat exchange over heat capacity, by step [1/h].
    heating : ndarray
        1 where the heat of the sugar counts, else 0, by step [-].
    cool_above, cool_max : float
        A cooler starts here [°C] and takes at most this [K/h].
    feeds : ndarray
        Feeds by `FEED_COLUMNS` by members; `ABSENT_H` where a member has no such feed [any unit].
    keep_at : ndarray
        Steps before which the state is kept, rising.
    gravity_c : ndarray
        Coefficients of `gravity_polynomial` [-].
    dry_below : float
        Sugar below which a member counts as dry [g/L].
    out : ndarray
        Filled: `KEPT` by kept times by members [any unit].
    fed_at : ndarray
        Filled: feeds by members; inf never due, -1 left out [h].
    dry_at : ndarray
        Filled: by members; inf never [h].
    peaks : ndarray
        Filled: `PEAKS` by members, over all steps [any unit].

    Returns
    -------
    None
    """
    members = traits.shape[1]
    blocks = members // 32
    n_feeds = feeds.shape[0]
    for block in prange(blocks):
        base = block * 32
        w = np.empty(_ROWS * 32)
        waiting = np.zeros(max(n_feeds, 1), np.int64)
        open_feeds = n_feeds
        fed = np.full(max(n_feeds, 1) * 32, 1e308)
        table = np.empty(max(n_feeds, 1) * _FEED_ROWS * 32)
        soonest = np.full(max(n_feeds, 1), 1e308)
        for k in range(n_feeds):
            waiting[k] = 32
            for c in range(_FEED_ROWS):
                for i in range(32):
                    table[32 * (_FEED_ROWS * k + c) + i] = feeds[k, c, base + i]
            for i in range(32):
                soonest[k] = min(soonest[k], feeds[k, 1, base + i])
                if feeds[k, 0, base + i] >= ABSENT_H:
                    fed[32 * k + i] = -2.0
                    waiting[k] -= 1
            if waiting[k] == 0:
                open_feeds -= 1
        for k in range(_NT):
            for i in range(32):
                w[32 * k + i] = traits[k, base + i]
        for k in range(_NS):
            for i in range(32):
                w[32 * (_Y + k) + i] = start[k, base + i]
        for i in range(32):
            for k in (2, 3, 10, 11, 12, 13, 14, 15, 16, 20, 25):  # only ever divided by
                w[32 * k + i] = 1.0 / w[32 * k + i]
            w[32 * 8 + i] = w[32 * 8 + i] * _STORE_HALF
            w[32 * _N_TOTAL + i] = start[9, base + i] + start[2, base + i] + start[3, base + i]
            w[32 * _ETHANOL_0 + i] = start[10, base + i]
            w[32 * _SUGAR + i] = start[4, base + i] + start[5, base + i]
            w[32 * _SUGAR_0 + i] = w[32 * _SUGAR + i] + _SPC * start[1, base + i]
            w[32 * (_Y + 7) + i] = 1.0 / start[7, base + i] - 1.0  # readiness as lag left
            w[32 * _SOLIDS + i] = start[11, base + i]
            w[32 * _LEFT + i] = left_of_sugar(traits[9, base + i], traits[23, base + i])
            w[32 * _BASE + i] = (
                start[12, base + i] - _MEQ * start[2, base + i]
                + traits[28, base + i] * start[1, base + i]
            )  # fmt: skip
            w[32 * _POTASSIUM + i] = start[13, base + i]
            w[32 * _FASTEST + i] = 0.0
            w[32 * _HOTTEST + i] = start[8, base + i]
            w[32 * _SOUREST + i] = 0.0
            w[32 * _DRY + i] = 0.0 if w[32 * _SUGAR + i] < dry_below else np.inf
        now = 0.0
        kept = 0
        for s in range(steps.shape[0] + 1):
            # feeds: looked at when a step begins
            if open_feeds > 0:
                for i in range(32):
                    sugar = w[32 * (_Y + 4) + i] + w[32 * (_Y + 5) + i]
                    made = w[32 * _SUGAR_0 + i] - sugar - _SPC * w[32 * (_Y + 1) + i]
                    w[32 * _GRAVITY + i] = gravity_polynomial(
                        sugar + w[32 * _SOLIDS + i] + w[32 * _LEFT + i] * made,
                        w[32 * _ETHANOL_0 + i] + w[32 * 9 + i] * made,
                        gravity_c,
                    )
                for k in range(n_feeds):
                    if waiting[k] == 0 or now < soonest[k] - 1e-9:
                        continue
                    row = 32 * _FEED_ROWS * k
                    given = 0
                    for i in range(32):
                        sugar = w[32 * (_Y + 4) + i] + w[32 * (_Y + 5) + i]
                        start_sugar = w[32 * _SUGAR + i]
                        due = (
                            (
                                (now >= table[row + i] - 1e-9)
                                | (w[32 * _GRAVITY + i] <= table[row + 64 + i])
                                | (sugar <= table[row + 96 + i] * start_sugar)
                                | (w[32 * (_Y + 7) + i] <= table[row + 128 + i])
                            )
                            & (fed[32 * k + i] > 1e300)
                            & (now >= table[row + 32 + i] - 1e-9)
                        )
                        late = sugar < table[row + 160 + i] * start_sugar
                        amount = 1.0 if due & (not late) else 0.0
                        mark = -1.0 if late else now
                        fed[32 * k + i] = mark if due else fed[32 * k + i]
                        ammonium_fed = amount * table[row + 192 + i]
                        amino_fed = amount * table[row + 224 + i]
                        w[32 * (_Y + 2) + i] += ammonium_fed
                        w[32 * (_Y + 3) + i] += amino_fed
                        w[32 * _N_TOTAL + i] += ammonium_fed + amino_fed
                        w[32 * _BASE + i] += amount * table[row + 256 + i] - _MEQ * ammonium_fed
                        w[32 * _POTASSIUM + i] += amount * table[row + 288 + i]
                        given += 1 if due else 0
                    waiting[k] -= given
                    if waiting[k] == 0:
                        open_feeds -= 1
            while kept < keep_at.shape[0] and keep_at[kept] == s:
                for i in range(32):
                    sugar = w[32 * (_Y + 4) + i] + w[32 * (_Y + 5) + i]
                    made = w[32 * _SUGAR_0 + i] - sugar - _SPC * w[32 * (_Y + 1) + i]
                    out[0, kept, base + i] = w[32 * (_Y + 4) + i]
                    out[1, kept, base + i] = w[32 * (_Y + 5) + i]
                    out[2, kept, base + i] = w[32 * _ETHANOL_0 + i] + w[32 * 9 + i] * made
                    out[3, kept, base + i] = w[32 * (_Y + 2) + i]
                    out[4, kept, base + i] = w[32 * (_Y + 3) + i]
                    out[5, kept, base + i] = w[32 * _Y + i]
                    out[6, kept, base + i] = w[32 * (_Y + 1) + i]
                    out[7, kept, base + i] = w[32 * (_Y + 8) + i]
                    out[8, kept, base + i] = _hydrogen(
                        w[32 * _BASE + i], w[32 * (_Y + 2) + i], w[32 * (_Y + 1) + i],
                        w[32 * _ETHANOL_0 + i] + w[32 * 9 + i] * made,
                        w[32 * 26 + i], w[32 * 27 + i], w[32 * 28 + i],
                    )  # fmt: skip
                kept += 1
            if s == steps.shape[0]:
                break
            h = steps[s]
            half = 0.5 * h
            sixth = h / 6.0
            sl = slope[s]
            loss_now = loss[s]
            heat_now = heating[s]
            cool_now = cool_max * heat_now
            room_1 = room[s]
            room_4 = room[s + 1]
            room_2 = 0.5 * (room_1 + room_4)
            for i in range(32):
                um = w[i]
                gm = w[32 + i]
                ehi = w[32 * 2 + i]
                eei = w[32 * 3 + i]
                z = w[32 * 4 + i]
                zi = 1.0 / (20.0 - z)
                qn = w[32 * 5 + i]
                kd = w[32 * 6 + i]
                cd = w[32 * 7 + i]
                cg = w[32 * 8 + i]
                ye = w[32 * 9 + i]
                oi = w[32 * 10 + i]
                ahi = w[32 * 11 + i]
                gi = w[32 * 12 + i]
                fi = w[32 * 13 + i]
                ghi = w[32 * 14 + i]
                ci = w[32 * 15 + i]
                qxi = w[32 * 16 + i]
                un = w[32 * 17 + i]
                kn = w[32 * 18 + i]
                pr = w[32 * 19 + i]
                ni = w[32 * 20 + i]
                pm = w[32 * 21 + i]
                hl = w[32 * 22 + i]
                rr = w[32 * 24 + i]
                si = w[32 * 25 + i]
                ka = w[32 * 26 + i]
                ct = w[32 * 27 + i]
                ac = w[32 * 28 + i]
                kl = w[32 * 29 + i]
                hd = w[32 * 30 + i]
                hf = w[32 * 31 + i]
                cf = w[32 * 32 + i]
                m0 = w[32 * 33 + i]
                m1 = w[32 * 34 + i]
                m2 = w[32 * 35 + i]
                m3 = w[32 * 36 + i]
                m4 = w[32 * 37 + i]
                bs = w[32 * _BASE + i]
                po = w[32 * _POTASSIUM + i]
                nt = w[32 * _N_TOTAL + i]
                s0 = w[32 * _SUGAR_0 + i]
                e0 = w[32 * _ETHANOL_0 + i]
                x = w[32 * _Y + i]
                tot = w[32 * (_Y + 1) + i]
                am = w[32 * (_Y + 2) + i]
                aa = w[32 * (_Y + 3) + i]
                gl = w[32 * (_Y + 4) + i]
                fr = w[32 * (_Y + 5) + i]
                p = w[32 * (_Y + 6) + i]
                lag = w[32 * (_Y + 7) + i]
                ready_1 = 1.0 / (1.0 + lag)
                t = w[32 * (_Y + 8) + i]

                x1, n1, a1, b1, g1, f1, p1, t1 = _rates(
                    x, tot, am, aa, gl, fr, p, ready_1, t,
                    um, gm, ehi, eei, z, zi, qn, kd, cd, cg, ye, oi, ahi, gi, fi, ghi, ci, qxi,
                    un, kn, pr, ni, pm, hl, nt, s0, e0,
                    bs, po, ka, ct, ac, kl, hd, hf, cf, si, m0, m1, m2, m3, m4,
                    sl, room_1, loss_now, heat_now, cool_above, cool_now,
                )  # fmt: skip
                theta, _ = _uptake_warmth(t + half * t1, z, zi)
                ea, eb, eg, ef, er = _decays(
                    a1 * half, b1 * half, g1 * half, f1 * half, rr * theta * half
                )
                lag_2 = 1.0 + lag * er
                lag_4 = 1.0 + lag * er * er
                both = 1.0 / (lag_2 * lag_4)
                ready_2 = both * lag_4
                ready_4 = both * lag_2
                # first slopes of the transformed states are zero: lambda is frozen here
                ya = ea * am
                yb = eb * aa
                yg = eg * gl
                yf = ef * fr
                x2, n2, a2, b2, g2, f2, p2, t2 = _rates(
                    x + half * x1, tot + half * n1, ya, yb, yg, yf,
                    p + half * p1, ready_2, t + half * t1,
                    um, gm, ehi, eei, z, zi, qn, kd, cd, cg, ye, oi, ahi, gi, fi, ghi, ci, qxi,
                    un, kn, pr, ni, pm, hl, nt, s0, e0,
                    bs, po, ka, ct, ac, kl, hd, hf, cf, si, m0, m1, m2, m3, m4,
                    sl, room_2, loss_now, heat_now, cool_above, cool_now,
                )  # fmt: skip
                ka2 = (a1 - a2) * ya
                kb2 = (b1 - b2) * yb
                kg2 = (g1 - g2) * yg
                kf2 = (f1 - f2) * yf
                ya3 = max(ya + half * ka2, 0.0)
                yb3 = max(yb + half * kb2, 0.0)
                yg3 = max(yg + half * kg2, 0.0)
                yf3 = max(yf + half * kf2, 0.0)
                x3, n3, a3, b3, g3, f3, p3, t3 = _rates(
                    x + half * x2, tot + half * n2, ya3, yb3, yg3, yf3,
                    p + half * p2, ready_2, t + half * t2,
                    um, gm, ehi, eei, z, zi, qn, kd, cd, cg, ye, oi, ahi, gi, fi, ghi, ci, qxi,
                    un, kn, pr, ni, pm, hl, nt, s0, e0,
                    bs, po, ka, ct, ac, kl, hd, hf, cf, si, m0, m1, m2, m3, m4,
                    sl, room_2, loss_now, heat_now, cool_above, cool_now,
                )  # fmt: skip
                ka3 = (a1 - a3) * ya3
                kb3 = (b1 - b3) * yb3
                kg3 = (g1 - g3) * yg3
                kf3 = (f1 - f3) * yf3
                ya4 = max(ea * (ya + h * ka3), 0.0)
                yb4 = max(eb * (yb + h * kb3), 0.0)
                yg4 = max(eg * (yg + h * kg3), 0.0)
                yf4 = max(ef * (yf + h * kf3), 0.0)
                x4, n4, a4, b4, g4, f4, p4, t4 = _rates(
                    x + h * x3, tot + h * n3, ya4, yb4, yg4, yf4,
                    p + h * p3, ready_4, t + h * t3,
                    um, gm, ehi, eei, z, zi, qn, kd, cd, cg, ye, oi, ahi, gi, fi, ghi, ci, qxi,
                    un, kn, pr, ni, pm, hl, nt, s0, e0,
                    bs, po, ka, ct, ac, kl, hd, hf, cf, si, m0, m1, m2, m3, m4,
                    sl, room_4, loss_now, heat_now, cool_above, cool_now,
                )  # fmt: skip
                third = h / 3.0
                am = max(ea * (ya + third * (ka2 + ka3)) + sixth * (a1 - a4) * ya4, 0.0)
                aa = max(eb * (yb + third * (kb2 + kb3)) + sixth * (b1 - b4) * yb4, 0.0)
                gl_new = max(eg * (yg + third * (kg2 + kg3)) + sixth * (g1 - g4) * yg4, 0.0)
                fr_new = max(ef * (yf + third * (kf2 + kf3)) + sixth * (f1 - f4) * yf4, 0.0)
                before = gl + fr
                after = gl_new + fr_new
                part = (before - dry_below) / max(before - after, 1e-12)
                crossed = now + h * part
                inside = (before >= dry_below) & (after < dry_below)
                total_new = tot + sixth * (n1 + 2.0 * (n2 + n3) + n4)
                fermented = before - after - _SPC * (total_new - tot)
                gas = fermented * ye * (_CO2_PER_ETHANOL / h)
                w[32 * _FASTEST + i] = max(w[32 * _FASTEST + i], gas)
                alcohol = e0 + ye * (s0 - after - _SPC * total_new)
                sour = _hydrogen(bs, am, total_new, alcohol, ka, ct, ac)
                w[32 * _SOUREST + i] = max(w[32 * _SOUREST + i], sour)
                dry = w[32 * _DRY + i]
                w[32 * _DRY + i] = min(dry, crossed) if inside else dry
                w[32 * _Y + i] = max(x + sixth * (x1 + 2.0 * (x2 + x3) + x4), 1e-12)
                w[32 * (_Y + 1) + i] = total_new
                w[32 * (_Y + 2) + i] = am
                w[32 * (_Y + 3) + i] = aa
                w[32 * (_Y + 4) + i] = gl_new
                w[32 * (_Y + 5) + i] = fr_new
                w[32 * (_Y + 6) + i] = p + sixth * (p1 + 2.0 * (p2 + p3) + p4)
                w[32 * (_Y + 7) + i] = lag * er * er
                warmer = t + sixth * (t1 + 2.0 * (t2 + t3) + t4)
                w[32 * (_Y + 8) + i] = warmer
                w[32 * _HOTTEST + i] = max(w[32 * _HOTTEST + i], warmer)
            now += h
        for i in range(32):
            dry_at[base + i] = w[32 * _DRY + i]
            peaks[0, base + i] = w[32 * _FASTEST + i]
            peaks[1, base + i] = w[32 * _HOTTEST + i]
            peaks[2, base + i] = w[32 * _SOUREST + i]
        for k in range(n_feeds):
            for i in range(32):
                at = fed[32 * k + i]
                fed_at[k, base + i] = np.inf if at > 1e300 else at


assert math.isclose(model.CARBON["byproducts"], _C_SUGAR)
assert TRAITS.index("cell_n_span") == 8
assert TRAITS.index("ethanol_yield") == 9
assert TRAITS.index("glycerol_yield") == 23
assert TRAITS.index("readiness_rate") == 24
assert TRAITS.index("sugar_start") == 25
assert TRAITS.index("acid_per_cells") == 28
assert TRAITS.index("cold_from") == 32
assert TRAITS.index("shape_4") == 37 == len(TRAITS) - 1
assert START.index("base") == 12
