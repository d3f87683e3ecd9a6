"""How many litres of which lots: the linear programme and the least squares behind a blend."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog, minimize

from mustwright.errors import ImpossibleError
from mustwright.finishing.lots import SCALE, BlendTarget, Floats, Lot, column
from mustwright.texts import say


def largest(lots: Sequence[Lot], bound: Sequence[BlendTarget]) -> float:
    """The most litres that keep the bounds; else the most of the nearest blend."""
    bounds = [(lot.least_l, lot.available_l) for lot in lots]
    rows = []
    for target in bound:
        scale = SCALE[target.quantity]
        slack = 0.01 * scale if target.low == target.high else 0.0
        each = column(lots, target.quantity)
        rows += [(each - target.high - slack) / scale, (target.low - slack - each) / scale]
    found = linprog(
        -np.ones(len(lots)), A_ub=np.array(rows), b_ub=np.zeros(len(rows)), bounds=bounds
    )
    if found.status == 0 and -found.fun > 1e-6:
        # A hair less than the most, so that the correction for contraction has room.
        return max(-float(found.fun) * (1 - 1e-6), sum(lot.least_l for lot in lots))
    small = max(sum(lot.least_l for lot in lots), min(lot.available_l for lot in lots))
    start = _anywhere(bounds, small)
    none = dict.fromkeys((t.quantity for t in bound), 0.0)
    litres = _least_squares(lots, bound, none, small, bounds, start, _Rows([], []), False)
    grow = min(
        (lot.available_l / x for lot, x in zip(lots, litres, strict=True) if x > 1e-6 * small),
        default=1.0,
    )
    return float(small * max(grow, 1.0))


def solve(
    lots: Sequence[Lot],
    targets: Sequence[BlendTarget],
    bound: Sequence[BlendTarget],
    amount: float,
    offsets: Mapping[str, float],
    cheapest: bool,
    most_so2: float | None,
) -> tuple[Floats, bool]:
    """Find the litres of each lot for a fixed amount, and whether all bounds hold.

    Parameters
    ----------
    lots : sequence of Lot
    targets : sequence of BlendTarget
        What the blend aims at, middle by middle.
    bound : sequence of BlendTarget
        What it is held to.
    amount : float
        Litres poured together, before contraction, above 0 [L].
    offsets : mapping of str to float
        By quantity, `straight` less `true_value` of the blend [any unit].
    cheapest : bool
        Least cost within the bounds, instead of least deviation from the middles.
    most_so2 : float or None
        Limit of total sulfur dioxide [mg/L]; it holds even if the targets cannot be met.

    Returns
    -------
    litres : ndarray
        Of each lot [L].
    feasible : bool

    Raises
    ------
    ImpossibleError
        If no blend of this amount stays under the limit of sulfur dioxide.

    Notes
    -----
    Least cost is a linear programme (HiGHS), least deviation a least-squares problem (SLSQP).
    """
    bounds = [(lot.least_l, lot.available_l) for lot in lots]
    every, strict = _Rows([], []), _Rows([], [])
    for target in bound:
        # A target without a range is held to a hundredth of its step: exact for a hydrometer.
        slack = 0.01 if target.low == target.high else 0.0
        every.add(lots, target, offsets, amount, slack)
    if most_so2 is not None:
        # A hair below, so that contraction cannot carry it over.
        strict.add(lots, BlendTarget("so2", -1.0, most_so2 * (1 - 1e-6)), offsets, amount, 0.0)
    prices = [lot.price_per_l or 0.0 for lot in lots]
    found = _cheapest(prices if cheapest else [0.0] * len(lots), every, strict, amount, bounds)
    if found is not None:
        if cheapest:
            return found, True
        both = _Rows(every.columns + strict.columns, every.limits + strict.limits)
        return _least_squares(lots, targets, offsets, amount, bounds, found, both, True), True
    start = _anywhere(bounds, amount)
    if strict.columns:
        legal = _cheapest([0.0] * len(lots), _Rows([], []), strict, amount, bounds)
        if legal is None:
            over = say(
                "needs parts that can be blended under {most:.0f} mg/L of total",
                most=most_so2,
            )
            raise ImpossibleError("lot", over, say("too much sulfur dioxide in what must go in"))
        start = legal
    return _least_squares(lots, bound, offsets, amount, bounds, start, strict, False), False


@dataclass(frozen=True)
class _Rows:
    """Linear bounds on the litres: each column times the litres at most its limit."""

    columns: list[Floats]
    limits: list[float]

    def add(
        self,
        lots: Sequence[Lot],
        target: BlendTarget,
        offsets: Mapping[str, float],
        amount: float,
        slack: float,
    ) -> None:
        """Add both ends of a target, in its own steps."""
        scale, offset = SCALE[target.quantity], offsets[target.quantity]
        each = column(lots, target.quantity) / scale
        self.columns.extend([each, -each])
        self.limits.append(amount * ((target.high + offset) / scale + slack))
        self.limits.append(-amount * ((target.low + offset) / scale - slack))


def _cheapest(
    prices: Sequence[float],
    every: _Rows,
    strict: _Rows,
    amount: float,
    bounds: Sequence[tuple[float, float]],
) -> Floats | None:
    """The least-cost litres within all rows, or None where there are none (HiGHS)."""
    columns, limits = every.columns + strict.columns, every.limits + strict.limits
    found = linprog(
        np.array(prices),
        A_ub=np.array(columns) if columns else None,
        b_ub=np.array(limits) if limits else None,
        A_eq=np.ones((1, len(bounds))),
        b_eq=[amount],
        bounds=bounds,
    )
    return np.asarray(found.x) if found.status == 0 else None


def _anywhere(bounds: Sequence[tuple[float, float]], amount: float) -> Floats:
    """Some litres within the bounds that add up to the amount."""
    low = np.array([b[0] for b in bounds])
    room = np.array([b[1] - b[0] for b in bounds])
    return np.asarray(low + room * (amount - low.sum()) / max(float(room.sum()), 1e-12))


def _least_squares(
    lots: Sequence[Lot],
    aims: Sequence[BlendTarget],
    offsets: Mapping[str, float],
    amount: float,
    bounds: Sequence[tuple[float, float]],
    start: Floats,
    rows: _Rows,
    middle: bool,
) -> Floats:
    """Minimise squared deviations within the rows, from the middles or from the nearest ends."""
    columns = np.array([column(lots, t.quantity) / SCALE[t.quantity] for t in aims]) * 1.0
    lows = np.array([(t.low + offsets[t.quantity]) / SCALE[t.quantity] for t in aims])
    highs = np.array([(t.high + offsets[t.quantity]) / SCALE[t.quantity] for t in aims])
    middles = (lows + highs) / 2

    def off(shares: Floats) -> Floats:
        here = np.asarray(columns @ shares, dtype=float)
        if middle:
            return np.asarray(here - middles)
        return np.asarray(np.maximum(here - highs, 0.0) - np.maximum(lows - here, 0.0))

    def value(shares: Floats) -> float:
        d = off(shares)
        # The faint second part picks one of several answers that are equally near.
        return float(d @ d) + 1e-7 * float(shares @ shares)

    def slope(shares: Floats) -> Floats:
        return np.asarray(2 * columns.T @ off(shares) + 2e-7 * shares)

    rules: list[dict[str, object]] = [
        {"type": "eq", "fun": lambda s: s.sum() - 1.0, "jac": lambda s: np.ones_like(s)}
    ]
    if rows.columns:
        a, b = np.array(rows.columns), np.array(rows.limits)
        rules.append({"type": "ineq", "fun": lambda s: b / amount - a @ s, "jac": lambda _: -a})
    found = minimize(
        value,
        start / amount,
        jac=slope,
        bounds=[(low / amount, high / amount) for low, high in bounds],
        constraints=rules,
        method="SLSQP",
        options={"maxiter": 500, "ftol": 1e-14},
    )
    shares = np.asarray(found.x)
    good = bool(np.all(np.isfinite(shares))) and value(shares) <= value(start / amount) + 1e-9
    if good and rows.columns:
        good = bool(np.all(a @ shares <= b / amount + 1e-7))
    if not good:
        shares = start / amount
    low = np.array([b[0] for b in bounds])
    high = np.array([b[1] for b in bounds])
    return np.clip(shares * amount, low, high)


def possible(
    lots: Sequence[Lot], quantity: str, amount: float, offset: float
) -> tuple[float, float]:
    """How low and how high one quantity can be, on its own, in a blend of this amount.

    Parameters
    ----------
    lots : sequence of Lot
    quantity : str
        One of `QUANTITIES`.
    amount : float
        Litres poured together, above 0 [L].
    offset : float
        `straight` less `true_value` of the blend [any unit].

    Returns
    -------
    low, high : float
        In the unit of the quantity [any unit]; NaN if no such blend exists.
    """
    bounds = [(lot.least_l, lot.available_l) for lot in lots]
    ends = []
    for sign in (1.0, -1.0):
        found = linprog(
            sign * column(lots, quantity),
            A_eq=np.ones((1, len(lots))),
            b_eq=[amount],
            bounds=bounds,
        )
        ends.append(sign * float(found.fun) / amount - offset if found.status == 0 else math.nan)
    return ends[0], ends[1]
