"""What pH closes the charge balance: rows of solutions, solved by a bracketed Newton iteration.

Every row obeys ``SID + [H] - [OH] + sum C z(pH) - [HCO3] - 2 [CO3] = 0`` with activity
coefficients of Davies. The balance rises with pH and has one root; the bracket never loses it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mustwright import data
from mustwright.constants import GAS_CONSTANT_J_MOL_K, KELVIN_AT_0_C
from mustwright.must.acidity.medium import debye_slope
from mustwright.must.acidity.species import Chemistry, must_chemistry

Floats = NDArray[np.float64]
LN10 = np.log(10.0)
LOWEST, HIGHEST = -2.0, 16.0
TITRATION_ENDS = {"8.2": 8.2, "7.0": 7.0}


def ionic_cap() -> float:
    """Ionic strength above which the activity coefficients are held [mol/kg]."""
    return float(data.load("acids")["medium"]["ionic_strength_valid_to"])


@dataclass(frozen=True)
class Solution:
    """Rows of solutions, one must or moment each.

    Parameters
    ----------
    totals : ndarray
        Rows by acids, all forms together, not negative [mol/kg solvent].
    sid : ndarray
        Strong-ion difference K + Na + 2 Ca + 2 Mg - Cl - 2 SO4 [mol/kg].
    strong : ndarray
        Half the sum of charge squared times content over strong ions beyond ``|SID|`` [mol/kg].
    temperature_c, ethanol_pct_vol, sugar_mass_pct : ndarray
        [°C], [% vol], [% by mass].
    co2 : ndarray
        Dissolved CO2 held by the gas above it [mol/kg].
    lift : ndarray
        Added to the pK of gluconic acid: its own doubt, and its lactone [-].
    pk_per_ethanol : ndarray
        Rise of every pK per % vol of alcohol [-].
    """

    totals: Floats
    sid: Floats
    strong: Floats
    temperature_c: Floats
    ethanol_pct_vol: Floats
    sugar_mass_pct: Floats
    co2: Floats
    lift: Floats
    pk_per_ethanol: Floats
    chemistry: Chemistry

    @property
    def rows(self) -> int:
        """How many there are."""
        return int(self.sid.size)

    def with_base(self, mol_kg: ArrayLike) -> Solution:
        """The same with strong base (below zero, strong acid) added [mol/kg]."""
        base = np.broadcast_to(np.asarray(mol_kg, dtype=float), self.sid.shape)
        grown = np.abs(self.sid) + np.abs(base) - np.abs(self.sid + base)
        return replace(self, sid=self.sid + base, strong=self.strong + 0.5 * grown)

    def with_acid(self, name: str, mol_kg: ArrayLike) -> Solution:
        """The same with more of one acid in it [mol/kg]."""
        totals = self.totals.copy()
        totals[:, self.chemistry.index(name)] += np.asarray(mol_kg, dtype=float)
        return replace(self, totals=np.maximum(totals, 0.0))

    def take(self, rows: NDArray[np.intp]) -> Solution:
        """Some of the rows, in the order asked for."""
        return Solution(
            self.totals[rows],
            self.sid[rows],
            self.strong[rows],
            self.temperature_c[rows],
            self.ethanol_pct_vol[rows],
            self.sugar_mass_pct[rows],
            self.co2[rows],
            self.lift[rows],
            self.pk_per_ethanol[rows],
            self.chemistry,
        )

    def without_gas(self) -> Solution:
        """Degassed, as for a titration."""
        return replace(self, co2=np.zeros_like(self.co2))


def solution(
    totals: dict[str, ArrayLike],
    sid: ArrayLike = 0.0,
    *,
    strong: ArrayLike = 0.0,
    temperature_c: ArrayLike = 25.0,
    ethanol_pct_vol: ArrayLike = 0.0,
    sugar_mass_pct: ArrayLike = 0.0,
    co2: ArrayLike = 0.0,
    lift: ArrayLike = 0.0,
    pk_per_ethanol: ArrayLike | None = None,
    chemistry: Chemistry | None = None,
) -> Solution:
    """Build rows of solutions from acids by name; numbers and arrays are broadcast together.

    Parameters
    ----------
    totals : dict of str to array_like
        Each acid with all its forms together, at least 0 [mol/kg solvent].
    sid, strong, co2 : array_like
        As in `Solution` [mol/kg].
    temperature_c, ethanol_pct_vol, sugar_mass_pct : array_like
        0 to 45 [°C], 0 to 20 [% vol], 0 to 65 [% by mass].
    lift : array_like
        Added to the pK of gluconic acid [-].
    pk_per_ethanol : array_like or None
        Rise of every pK [1/% vol]; None takes the recorded one (Prenesti2012 Table 4).
    chemistry : Chemistry or None
        The acids to choose from; None takes those of a must.

    Returns
    -------
    Solution

    Raises
    ------
    KeyError
        If `totals` names an acid the chemistry does not have.

    Examples
    --------
    Vinegar, 0.1 mol/kg:

    >>> round(float(solve_ph(solution({"acetic": 0.1}))[0]), 2)
    2.88
    """
    chosen = chemistry or must_chemistry()
    slope = data.load("acids")["medium"]["pk_per_ethanol_pct"]
    shift = slope if pk_per_ethanol is None else pk_per_ethanol
    parts = (sid, strong, temperature_c, ethanol_pct_vol, sugar_mass_pct, co2, lift, shift)
    columns = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(p, dtype=float)) for p in (*parts, *totals.values()))
    )
    made = np.zeros((columns[0].size, chosen.size))
    for name, column in zip(totals, columns[len(parts) :], strict=True):
        made[:, chosen.index(name)] = column
    fixed = [np.ascontiguousarray(c, dtype=float) for c in columns[: len(parts)]]
    return Solution(
        made, fixed[0], fixed[1], fixed[2], fixed[3], fixed[4], fixed[5], fixed[6], fixed[7], chosen
    )


def solve_ph(rows: Solution, guess: ArrayLike | None = None, *, compiled: bool = True) -> Floats:
    """Find the pH at which each row's charges balance.

    Parameters
    ----------
    rows : Solution
    guess : array_like or None
        pH to start from, -2 to 16 [-]; only the time taken depends on it.
    compiled : bool
        Use the compiled kernel; without it the same steps run in plain NumPy.

    Returns
    -------
    ndarray
        pH, one per row [-].

    Notes
    -----
    Outside pH -2 to 16 the end of that range is returned. Activity coefficients are those of
    Davies1962 up to the ionic strength they hold for (0.5 mol/kg), and constant beyond.
    """
    begin = np.full(rows.rows, 4.0) if guess is None else _filled(guess, rows.rows)
    if compiled:
        from mustwright.must.acidity import kernel

        return np.asarray(kernel.solve(*_arguments(rows), begin, ionic_cap()))
    return _solve_plain(rows, begin)


def sid_for_ph(rows: Solution, ph: ArrayLike, *, compiled: bool = True) -> Floats:
    """Find the strong-ion difference at which each row would have a given pH.

    Less the present one, that is the strong base to add (acid, where negative).

    Parameters
    ----------
    rows : Solution
    ph : array_like
        -2 to 16 [-].
    compiled : bool
        As in `solve_ph`, whose balance this is.

    Returns
    -------
    ndarray
        [mol/kg].
    """
    wanted = _filled(ph, rows.rows)
    if compiled:
        from mustwright.must.acidity import kernel

        return np.asarray(kernel.needed(*_arguments(rows), wanted, ionic_cap()))
    return _needed_plain(rows, wanted)


def base_to_ph(rows: Solution, ph: ArrayLike) -> Floats:
    """Strong base that brings each row to a pH [mol/kg]; negative where acid is wanted."""
    return sid_for_ph(rows, ph) - rows.sid


def titratable_acid(rows: Solution, end: float = 8.2) -> Floats:
    """Titratable acid of the degassed solution to pH `end` (8.2 or 7.0) [mol/kg]."""
    return base_to_ph(rows.without_gas(), end)


def buffer_capacity(rows: Solution, ph: ArrayLike | None = None) -> Floats:
    """Strong base per unit of pH around a pH, its own where none is given [mol/kg]."""
    here = solve_ph(rows) if ph is None else _filled(ph, rows.rows)
    step = 0.02
    return (sid_for_ph(rows, here + step) - sid_for_ph(rows, here - step)) / (2 * step)


def charge_left(rows: Solution, ph: ArrayLike) -> Floats:
    """Charge that does not close at a pH, by plain sums over every ion [mol/kg]."""
    x = -LN10 * _filled(ph, rows.rows)
    k, kx = constants(rows)
    ionic = rows.strong + 0.5 * np.abs(rows.sid)
    charge = np.zeros(rows.rows)
    for _ in range(200):
        g = activity(rows, ionic)
        charge, _slope, squares = _charge_plain(rows, k, kx, g, x)
        ionic = rows.strong + 0.5 * (np.abs(rows.sid) + squares)
    return charge + rows.sid


# The same steps in plain NumPy -------------------------------------------------------------------


def _filled(value: ArrayLike, rows: int) -> Floats:
    return np.ascontiguousarray(np.broadcast_to(np.asarray(value, dtype=float), (rows,)))


def _arguments(rows: Solution) -> tuple[object, ...]:
    c = rows.chemistry
    return (
        c.steps,
        c.top,
        c.pk,
        c.dh,
        c.dcp,
        c.extra,
        c.shifted,
        np.ascontiguousarray(rows.totals),
        rows.sid,
        rows.strong,
        rows.temperature_c + KELVIN_AT_0_C,
        ethanol_shift(rows),
        rows.lift,
        debye_slope(rows.temperature_c, rows.ethanol_pct_vol, rows.sugar_mass_pct),
        rows.co2,
    )


def ethanol_shift(rows: Solution) -> Floats:
    """Rise of every pK by alcohol [-]; held where the published slope ends (12 % vol)."""
    most = float(data.load("acids")["medium"]["ethanol_valid_to_pct"])
    return np.asarray(rows.pk_per_ethanol * np.minimum(rows.ethanol_pct_vol, most))


def constants(rows: Solution) -> tuple[Floats, Floats]:
    """Dissociation constants of each row: of its acids, and of water and carbonic acid."""
    c, kelvin = rows.chemistry, rows.temperature_c + KELVIN_AT_0_C
    u = (1 / kelvin - 1 / 298.15) / GAS_CONSTANT_J_MOL_K
    v = (298.15 / kelvin - 1 + np.log(kelvin / 298.15)) / GAS_CONSTANT_J_MOL_K
    shift = ethanol_shift(rows)
    pk = c.pk[None] + shift[:, None, None]
    if c.shifted >= 0:
        pk[:, c.shifted, :] += rows.lift[:, None]
    k = np.exp(-pk * LN10 - c.dh[None] * u[:, None, None] + c.dcp[None] * v[:, None, None])
    px = c.extra[None, :, 0] + shift[:, None] * np.array([0.0, 1.0, 1.0])
    kx = np.exp(-px * LN10 - c.extra[None, :, 1] * u[:, None] + c.extra[None, :, 2] * v[:, None])
    return k, kx


def activity(rows: Solution, ionic: Floats) -> Floats:
    """Activity coefficient of a single charge, Davies1962."""
    i = np.clip(ionic, 0.0, ionic_cap())
    root = np.sqrt(i)
    a = debye_slope(rows.temperature_c, rows.ethanol_pct_vol, rows.sugar_mass_pct)
    return np.asarray(np.exp(-LN10 * a * (root / (1 + root) - 0.3 * i)))


def split(rows: Solution, k: Floats, g: Floats, h: Floats) -> tuple[Floats, Floats]:
    """Work out how far each acid is dissociated, rows by acids.

    Parameters
    ----------
    rows : Solution
    k, g, h : ndarray
        Dissociation constants [mol/kg], activity coefficient of a single charge [-], and
        activity of the hydrogen ion, above 0 [mol/kg].

    Returns
    -------
    means, squared : ndarray
        Mean charge, and mean square of the number of protons given off [-].
    """
    means, squared = np.empty_like(rows.totals), np.empty_like(rows.totals)
    for j in range(rows.chemistry.size):
        top = int(rows.chemistry.top[j])
        weight = np.ones(rows.rows)
        sums = [np.ones(rows.rows), np.zeros(rows.rows), np.zeros(rows.rows)]
        for s in range(int(rows.chemistry.steps[j])):
            weight = weight * k[:, j, s] * g ** ((top - s) ** 2 - (top - s - 1) ** 2) / h
            for power in range(3):
                sums[power] = sums[power] + (s + 1) ** power * weight
        means[:, j] = top - sums[1] / sums[0]
        squared[:, j] = sums[2] / sums[0]
    return means, squared


def _charge_plain(
    rows: Solution, k: Floats, kx: Floats, g: Floats, x: Floats
) -> tuple[Floats, Floats, Floats]:
    h = np.exp(x)
    proton, hydroxide = h / g, kx[:, 0] / (g * h)
    bicarbonate = kx[:, 1] * rows.co2 / (g * h)
    carbonate = kx[:, 1] * kx[:, 2] * rows.co2 / (g**4 * h**2)
    charge = proton - hydroxide - bicarbonate - 2 * carbonate
    slope = proton + hydroxide + bicarbonate + 4 * carbonate
    squares = slope.copy()
    means, squared = split(rows, k, g, h)
    top = rows.chemistry.top
    gone = top - means
    charge = charge + (rows.totals * means).sum(axis=1)
    slope = slope + (rows.totals * (squared - gone**2)).sum(axis=1)
    squares = squares + (rows.totals * (top * top - 2 * top * gone + squared)).sum(axis=1)
    return charge, slope, squares


def _next(ionic: Floats, gap: Floats, before: Floats, gap_before: Floats, cap: float) -> Floats:
    moved = np.where(gap_before == gap, 1.0, gap_before - gap)
    slope = np.where(gap_before == 0.0, 1.0, (ionic - before) / moved)
    slope = np.where((slope >= 0.1) & (slope <= 10.0), slope, 1.0)
    return np.asarray(np.clip(ionic + slope * gap, 0.0, cap))


def _solve_plain(rows: Solution, guess: Floats) -> Floats:
    k, kx = constants(rows)
    x, cap = -LN10 * guess, ionic_cap()
    ionic = np.minimum(rows.strong + 0.5 * np.abs(rows.sid), cap)
    before, gap_before = ionic, np.zeros_like(x)
    for _ in range(80):
        g = activity(rows, ionic)
        low, high = np.full_like(x, -LN10 * HIGHEST), np.full_like(x, -LN10 * LOWEST)
        squares = np.zeros_like(x)
        for _n in range(80):
            charge, slope, squares = _charge_plain(rows, k, kx, g, x)
            f = charge + rows.sid
            high, low = np.where(f > 0, x, high), np.where(f > 0, low, x)
            step = f / slope
            done = (np.abs(step) < 1e-12) | (high - low < 1e-13)
            if done.all():
                break
            moved = x - step
            moved = np.where((moved <= low) | (moved >= high), 0.5 * (low + high), moved)
            x = np.where(done, x, moved)
        gap = np.minimum(rows.strong + 0.5 * (np.abs(rows.sid) + squares), cap) - ionic
        if np.abs(gap).max(initial=0.0) < 1e-11:
            break
        before, ionic, gap_before = ionic, _next(ionic, gap, before, gap_before, cap), gap
    return np.asarray(-x / LN10)


def _needed_plain(rows: Solution, ph: Floats) -> Floats:
    k, kx = constants(rows)
    x, want, cap = -LN10 * ph, rows.sid, ionic_cap()
    ionic = np.minimum(rows.strong + 0.5 * np.abs(rows.sid), cap)
    before, gap_before = ionic, np.zeros_like(x)
    for _ in range(80):
        charge, _slope, squares = _charge_plain(rows, k, kx, activity(rows, ionic), x)
        want = -charge
        new = rows.strong + 0.5 * (np.abs(rows.sid) + np.abs(want - rows.sid) + squares)
        gap = np.minimum(new, cap) - ionic
        if np.abs(gap).max(initial=0.0) < 1e-11:
            break
        before, ionic, gap_before = ionic, _next(ionic, gap, before, gap_before, cap), gap
    return np.asarray(want)
