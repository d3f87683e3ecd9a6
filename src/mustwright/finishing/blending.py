"""Which lots in which parts: a blend of two to six lots solved for several targets at once."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog, minimize

from mustwright.errors import ImpossibleError, InputError
from mustwright.finishing.law import FinishingLaw
from mustwright.finishing.liquid import Liquid, mead, mixed
from mustwright.finishing.step import Addition, Recorded, cautions, within
from mustwright.finishing.sweeten import BALANCE
from mustwright.working import ARITHMETIC, Figure, typed

Floats = NDArray[np.float64]
QUANTITIES = ("alcohol", "gravity", "acidity", "so2", "sugar", "colour")
UNITS = {
    "alcohol": "% vol", "gravity": "SG 20/20", "acidity": "g/L", "so2": "mg/L", "sugar": "g/L",
    "colour": "",
}  # fmt: skip
# What counts as one step away from a target, and how close is close enough when not said.
SCALE = {"alcohol": 0.1, "gravity": 0.001, "acidity": 0.1, "so2": 5.0, "sugar": 2.0, "colour": 0.2}
FEWEST_LOTS, MOST_LOTS = 2, 6
ROUNDS = 12


@dataclass(frozen=True)
class Lot:
    """One lot that may go in.

    Parameters
    ----------
    name : str
    available_l, least_l : float
        How much there is, and how much must go in [L].
    alcohol_pct, gravity : float
        [% vol, SG 20/20].
    acidity_g_l, so2_mg_l, sugar_g_l, colour : float or None
        As tartaric, total, sugar, and the maker's own colour note from 0 to 10.
    price_per_l : float or None
        In the maker's money.
    """

    name: str
    available_l: float
    alcohol_pct: float
    gravity: float
    least_l: float = 0.0
    acidity_g_l: float | None = None
    so2_mg_l: float | None = None
    sugar_g_l: float | None = None
    colour: float | None = None
    price_per_l: float | None = None

    def per_litre(self, quantity: str) -> float | None:
        """One quantity of the lot."""
        named = {
            "alcohol": self.alcohol_pct, "gravity": self.gravity, "acidity": self.acidity_g_l,
            "so2": self.so2_mg_l, "sugar": self.sugar_g_l, "colour": self.colour,
        }  # fmt: skip
        return named[quantity]


@dataclass(frozen=True)
class Target:
    """A wanted value, or a range where `high` is above `low`."""

    quantity: str
    low: float
    high: float

    @property
    def middle(self) -> float:
        """The value aimed at."""
        return (self.low + self.high) / 2


@dataclass(frozen=True)
class Part:
    """One lot's share of the blend."""

    name: str
    litres: Figure
    share_pct: Figure


@dataclass(frozen=True)
class Reached:
    """One target and how near the blend gets; `possible` is what these lots could give alone."""

    quantity: str
    wanted_low: float
    wanted_high: float
    reached: Figure
    off_by: Figure
    met: bool
    possible_low: float
    possible_high: float


@dataclass(frozen=True)
class BlendResult:
    """The solved blend.

    Parameters
    ----------
    feasible : bool
        All targets met; else this is the nearest blend, and `words` says what stands in the way.
    """

    feasible: bool
    goal: str
    parts: tuple[Part, ...]
    targets: tuple[Reached, ...]
    volume_l: Figure
    contraction_l: Figure
    alcohol_pct: Figure
    gravity: Figure
    acidity_g_l: Figure | None
    total_so2_mg_l: Figure | None
    sugar_g_l: Figure | None
    colour: Figure | None
    cost: Figure | None
    words: str
    recorded: Recorded = field(default_factory=Recorded)


def blend_lots(
    lots: Sequence[Lot],
    targets: Sequence[Target],
    law: FinishingLaw,
    *,
    volume_l: float | None = None,
    cheapest: bool = False,
) -> BlendResult:
    """Blend lots to targets.

    Parameters
    ----------
    lots : sequence of Lot
        Two to six.
    targets : sequence of Target
        At least one; each quantity once.
    law : FinishingLaw
        Its limit of total sulfur dioxide becomes one more bound.
    volume_l : float or None
        Wanted [L]; when None, as much as can be made with the targets met (or as near as it gets).
    cheapest : bool
        Least cost with every target met, instead of least deviation from the middles.

    Raises
    ------
    InputError, ImpossibleError
        For lots or volumes that cannot be; targets out of reach are no error but a result.

    Notes
    -----
    Litres of the lots are the unknowns. Quantities per litre mix in proportion to litres but for
    contraction and the curvature of gravity; that difference is found from the mass balance of the
    mixture and handed back to the programme until it stands still. Least cost is a linear
    programme (HiGHS); least deviation minimises the squares of the deviations from the middles,
    each in steps of its own (0.1 % vol, 0.001 SG, 0.1 g/L, ...), within the bounds. When no blend
    meets all bounds, the sum of the squared overshoots is minimised instead.
    """
    _check(lots, targets)
    bound, most_so2 = _with_law(lots, targets, law)
    offsets: dict[str, float] = dict.fromkeys((t.quantity for t in bound), 0.0)
    amount = _largest(lots, bound) if volume_l is None else _amount(lots, volume_l)
    litres, feasible = np.zeros(len(lots)), False
    for _ in range(ROUNDS):
        litres, feasible = _solve(lots, targets, bound, amount, offsets, cheapest, most_so2)
        new = {q: _straight(lots, litres, q) - _true(lots, litres, q) for q in offsets}
        still = all(abs(new[q] - offsets[q]) < 1e-9 * max(1.0, abs(new[q])) for q in new)
        offsets = new
        wanted = (
            amount if volume_l is None else amount * volume_l / max(_volume(lots, litres), 1e-9)
        )
        most = sum(lot.available_l for lot in lots)
        if still and abs(wanted - amount) < 1e-9 * amount:
            break
        amount = min(wanted, most)
    return _result(lots, targets, bound, litres, feasible, cheapest, law)


def _check(lots: Sequence[Lot], targets: Sequence[Target]) -> None:
    if not FEWEST_LOTS <= len(lots) <= MOST_LOTS:
        raise InputError("lot", f"needs {FEWEST_LOTS} to {MOST_LOTS} lots", len(lots))
    if not targets:
        raise InputError("target", "needs at least one target", "none")
    if len({lot.name for lot in lots}) < len(lots):
        raise InputError("lot", "needs a name of its own for each lot", lots[0].name)
    for lot in lots:
        within(lot.available_l, 1e-3, 1e6, f"lot {lot.name}.volume", "a volume in L")
        within(lot.least_l, 0, lot.available_l, f"lot {lot.name}.least", "litres there are,")
        mead(lot.available_l, lot.gravity, lot.alcohol_pct)
        for quantity in ("acidity", "so2", "sugar", "colour"):
            value = lot.per_litre(quantity)
            if value is not None:
                within(value, 0, 1000, f"lot {lot.name}.{quantity}", "a value")
        if lot.price_per_l is not None:
            within(lot.price_per_l, 0, 1e6, f"lot {lot.name}.price", "a price")
    seen = set()
    for target in targets:
        if target.quantity not in QUANTITIES:
            known = f"needs one of {', '.join(QUANTITIES)}"
            raise InputError("target", known, target.quantity)
        if target.quantity in seen:
            raise InputError("target", "needs each quantity once", target.quantity)
        seen.add(target.quantity)
        if not (math.isfinite(target.low) and target.low <= target.high < math.inf):
            raise InputError("target", "needs its low end first", f"{target.low} to {target.high}")
        for lot in lots:
            if lot.per_litre(target.quantity) is None:
                needs = f"needs its {target.quantity}, as that is a target"
                raise InputError(f"lot {lot.name}", needs, None)


def _with_law(
    lots: Sequence[Lot], targets: Sequence[Target], law: FinishingLaw
) -> tuple[tuple[Target, ...], float | None]:
    """The targets with total sulfur dioxide under the profile's limit, and that limit [mg/L]."""
    limit = law.total_so2(None)
    if limit is None or limit.high is None or any(lot.so2_mg_l is None for lot in lots):
        return tuple(targets), None
    most = limit.high * 1000
    bound = []
    for target in targets:
        if target.quantity == "so2":
            if target.low > most:
                over = f"needs at most {most:.0f} mg/L of total ({law.name})"
                raise ImpossibleError("target.so2", over, target.low)
            target = replace(target, high=min(target.high, most))
        bound.append(target)
    if all(t.quantity != "so2" for t in bound):
        bound.append(Target("so2", 0.0, most))
    return tuple(bound), most


def _amount(lots: Sequence[Lot], volume_l: float) -> float:
    """Litres poured together, before contraction."""
    most, least = sum(lot.available_l for lot in lots), sum(lot.least_l for lot in lots)
    within(volume_l, 1e-3, 1e6, "volume", "a volume in L")
    # Dilute lots may take up a hair more room together than apart.
    if not least * 0.999 <= volume_l <= most * 1.001:
        raise ImpossibleError(
            "volume", f"needs {least:g} to {most:g} L, what must and what can go in", volume_l
        )
    return min(max(volume_l, least), most)


def _largest(lots: Sequence[Lot], bound: Sequence[Target]) -> float:
    """The most litres that keep the bounds; else the most of the nearest blend."""
    bounds = [(lot.least_l, lot.available_l) for lot in lots]
    rows = []
    for target in bound:
        scale = SCALE[target.quantity]
        slack = 0.01 * scale if target.low == target.high else 0.0
        column = _column(lots, target.quantity)
        rows += [(column - target.high - slack) / scale, (target.low - slack - column) / scale]
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


def _liquids(lots: Sequence[Lot], litres: Floats) -> list[Liquid]:
    return [
        mead(1.0, lot.gravity, lot.alcohol_pct).times(float(x))
        for lot, x in zip(lots, litres, strict=True)
    ]


def _volume(lots: Sequence[Lot], litres: Floats) -> float:
    return mixed(_liquids(lots, litres)).volume_l


def _column(lots: Sequence[Lot], quantity: str) -> Floats:
    return np.array([lot.per_litre(quantity) or 0.0 for lot in lots])


def _straight(lots: Sequence[Lot], litres: Floats, quantity: str) -> float:
    """The quantity as if litres added up and it mixed in proportion."""
    return float(_column(lots, quantity) @ litres / max(float(litres.sum()), 1e-12))


def _true(lots: Sequence[Lot], litres: Floats, quantity: str) -> float:
    """The quantity by the mass balance of the mixture."""
    liquid = mixed(_liquids(lots, litres))
    if quantity == "alcohol":
        return liquid.alcohol_pct
    if quantity == "gravity":
        return liquid.gravity
    if quantity == "colour":
        return _straight(lots, litres, quantity)
    return float(_column(lots, quantity) @ litres) / liquid.volume_l


def _solve(
    lots: Sequence[Lot],
    targets: Sequence[Target],
    bound: Sequence[Target],
    amount: float,
    offsets: Mapping[str, float],
    cheapest: bool,
    most_so2: float | None,
) -> tuple[Floats, bool]:
    """Litres of each lot for a fixed amount, and whether all bounds hold.

    The limit of sulfur dioxide holds even where the targets cannot be met.
    """
    bounds = [(lot.least_l, lot.available_l) for lot in lots]
    every, strict = _Rows([], []), _Rows([], [])
    for target in bound:
        # A target without a range is held to a hundredth of its step: exact for a hydrometer.
        slack = 0.01 if target.low == target.high else 0.0
        every.add(lots, target, offsets, amount, slack)
    if most_so2 is not None:
        # A hair below, so that contraction cannot carry it over.
        strict.add(lots, Target("so2", -1.0, most_so2 * (1 - 1e-6)), offsets, amount, 0.0)
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
            over = f"needs lots that can be blended under {most_so2:.0f} mg/L of total"
            raise ImpossibleError("lot", over, "too much sulfur dioxide in what must go in")
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
        target: Target,
        offsets: Mapping[str, float],
        amount: float,
        slack: float,
    ) -> None:
        """Both ends of a target, in steps of its own."""
        scale, offset = SCALE[target.quantity], offsets[target.quantity]
        column = _column(lots, target.quantity) / scale
        self.columns.extend([column, -column])
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
    aims: Sequence[Target],
    offsets: Mapping[str, float],
    amount: float,
    bounds: Sequence[tuple[float, float]],
    start: Floats,
    rows: _Rows,
    middle: bool,
) -> Floats:
    """Minimise squared deviations within the rows, from the middles or from the nearest ends."""
    columns = np.array([_column(lots, t.quantity) / SCALE[t.quantity] for t in aims]) * 1.0
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
        # The faint second part makes one answer of several that are equally near.
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


def _possible(
    lots: Sequence[Lot], quantity: str, amount: float, offset: float
) -> tuple[float, float]:
    """Lowest and highest this quantity can be, alone, in a blend of this amount."""
    bounds = [(lot.least_l, lot.available_l) for lot in lots]
    ends = []
    for sign in (1.0, -1.0):
        found = linprog(
            sign * _column(lots, quantity),
            A_eq=np.ones((1, len(lots))),
            b_eq=[amount],
            bounds=bounds,
        )
        ends.append(sign * float(found.fun) / amount - offset if found.status == 0 else math.nan)
    return ends[0], ends[1]


def _result(
    lots: Sequence[Lot],
    targets: Sequence[Target],
    bound: Sequence[Target],
    litres: Floats,
    feasible: bool,
    cheapest: bool,
    law: FinishingLaw,
) -> BlendResult:
    liquid, amount = mixed(_liquids(lots, litres)), float(litres.sum())
    given = {lot.name: float(x) for lot, x in zip(lots, litres, strict=True)}
    volume = Figure(liquid.volume_l, "L", "mass / density of the mixture", BALANCE, given)
    parts = tuple(
        Part(
            lot.name,
            Figure(
                float(x), "L", "solved", ARITHMETIC, {"available_l": typed(lot.available_l, "L")}
            ),
            Figure(100 * float(x) / amount, "%", "litres / all litres", ARITHMETIC),
        )
        for lot, x in zip(lots, litres, strict=True)
    )
    figures = {q: _figure(lots, litres, q, volume) for q in QUANTITIES}
    reached = tuple(_reached(lots, litres, t, amount) for t in bound)
    feasible = feasible and all(r.met for r in reached)
    priced = all(lot.price_per_l is not None for lot in lots)
    if cheapest and not priced:
        raise InputError("lot", "needs a price for every lot to be cheapest", "none")
    cost = None
    if priced:
        total = sum(
            (lot.price_per_l or 0.0) * float(x) for lot, x in zip(lots, litres, strict=True)
        )
        cost = Figure(total, "", "sum of litres x price, in the money of the prices", ARITHMETIC)
    alcohol, gravity = figures["alcohol"], figures["gravity"]
    assert alcohol is not None
    assert gravity is not None
    after = {"volume_l": volume, "alcohol_pct": alcohol, "gravity": gravity}
    if figures["so2"] is not None:
        after["total_so2_mg_l"] = figures["so2"]
    additions = tuple(
        Addition(
            lot.name,
            lot.name,
            Figure(one.mass_g, "g", "litres x density", ARITHMETIC),
            {},
            f"{float(x):.2f} L",
        )
        for lot, x, one in zip(lots, litres, _liquids(lots, litres), strict=True)
        if x > 1e-9
    )
    return BlendResult(
        feasible,
        "least cost" if cheapest else "least deviation",
        parts,
        reached,
        volume,
        Figure(
            amount - volume.value,
            "L",
            "litres poured - litres that come of it",
            BALANCE,
            {"poured_l": amount, "volume_l": volume},
        ),
        alcohol,
        gravity,
        figures["acidity"],
        figures["so2"],
        figures["sugar"],
        figures["colour"],
        cost,
        _words(feasible, reached, targets),
        Recorded(additions, after, _steps(), _notes(law, figures), cautions("bench_first")),
    )


def _figure(lots: Sequence[Lot], litres: Floats, quantity: str, volume: Figure) -> Figure | None:
    if any(lot.per_litre(quantity) is None for lot in lots):
        return None
    formula = {
        "alcohol": "ethanol of all lots / volume",
        "gravity": "density of the mixture",
        "colour": "mean by litres: a rough guide, colour does not mix so simply",
    }.get(quantity, "grams of all lots / volume")
    source = BALANCE if quantity in ("alcohol", "gravity") else ARITHMETIC
    given: dict[str, Figure | float | str] = {
        lot.name: lot.per_litre(quantity) or 0.0 for lot in lots
    }
    given["volume_l"] = volume
    return Figure(_true(lots, litres, quantity), UNITS[quantity], formula, source, given)


def _reached(lots: Sequence[Lot], litres: Floats, target: Target, amount: float) -> Reached:
    here = _true(lots, litres, target.quantity)
    off = max(here - target.high, 0.0) - max(target.low - here, 0.0)
    unit, scale = UNITS[target.quantity], SCALE[target.quantity]
    offset = _straight(lots, litres, target.quantity) - here
    low, high = _possible(lots, target.quantity, amount, offset)
    return Reached(
        target.quantity,
        target.low,
        target.high,
        Figure(here, unit, "mass balance of the mixture", BALANCE),
        Figure(off, unit, "reached - nearest end of what is wanted", ARITHMETIC),
        abs(off) <= 0.02 * scale,
        low,
        high,
    )


def _words(feasible: bool, reached: Sequence[Reached], targets: Sequence[Target]) -> str:
    if feasible:
        return "All targets are met."
    missed = [r for r in reached if not r.met]
    if not missed:
        return "All targets are met to within a hydrometer's reading."
    parts = []
    for one in missed:
        unit = UNITS[one.quantity]
        wanted = (
            f"{one.wanted_low:g}"
            if one.wanted_low == one.wanted_high
            else (f"{one.wanted_low:g} to {one.wanted_high:g}")
        )
        digits = 4 if one.quantity == "gravity" else 2
        parts.append(
            f"{one.quantity} comes to {one.reached.value:.{digits}f} {unit} of the {wanted} wanted "
            f"(alone these lots could give {one.possible_low:.{digits}f} to "
            f"{one.possible_high:.{digits}f})"
        )
    what = "together" if len(targets) > 1 else "with these lots"
    return f"Cannot be met {what}; this is the nearest blend: {'; '.join(parts)}."


def _steps() -> tuple[str, ...]:
    return (
        "Blend 100 mL in a glass in these parts first, and taste it the next day.",
        "Pour gently into one vessel, heaviest first; stir without splashing.",
        "Measure free sulfur dioxide after a day: each lot binds some of the other's.",
        "Where one lot still ferments, or had malolactic bacteria, all of it may.",
    )


def _notes(law: FinishingLaw, figures: Mapping[str, Figure | None]) -> tuple[str, ...]:
    notes = ["pH does not mix in proportion: measure it."]
    if figures["so2"] is None and law.total_so2(None) is not None:
        notes.append("Total sulfur dioxide of the lots was not typed: the limit was not checked.")
    return tuple(notes)
