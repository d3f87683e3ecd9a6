"""What does the refractometer really say: sugar, honey moisture, and must that holds alcohol."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from mustwright import data
from mustwright.constants import ETHANOL_YIELD_G_G
from mustwright.errors import ImpossibleError, warn_validity
from mustwright.must.alcohol import Fermented, ferment
from mustwright.must.density import must_density_kg_m3, sucrose_solution_density_kg_m3
from mustwright.must.gravity import sugar_g_l_from_brix
from mustwright.texts import say

if TYPE_CHECKING:
    from scipy.interpolate import CubicSpline

Floats = NDArray[np.float64]

READING_ERROR_BRIX = 0.1  # Half a mark of a hand refractometer (assumed).
YIELD_RANGE_G_G = (0.46, 0.48)  # Real ethanol yields (common practice, no source).


def refractive_index_from_brix(brix: ArrayLike) -> Floats:
    """Refractive index nD at 20 °C of a sucrose solution.

    Parameters
    ----------
    brix : array_like
        0 to 80 [Brix]; warns outside.

    Notes
    -----
    Cubic spline through ICUMSA2000 (SPS-3) rows recalled from memory.

    Examples
    --------
    >>> round(float(refractive_index_from_brix(24.0)), 4)
    1.3706
    """
    b = np.asarray(brix, dtype=float)
    if np.any(b < 0) or np.any(b > 80):
        warn_validity(say("refractive index (ICUMSA2000): brix outside 0 to 80"))
    return np.asarray(_index_spline()(b))


def brix_from_refractive_index(refractive_index: ArrayLike) -> Floats:
    """Brix of a sucrose solution from its refractive index nD at 20 °C, 1.3330 to 1.4907.

    Notes
    -----
    Inverse of `refractive_index_from_brix` by Newton steps, to 1e-11.
    """
    n = np.asarray(refractive_index, dtype=float)
    spline, b = _index_spline(), (n - 1.333) / 0.00165
    for _ in range(60):
        step = (spline(b) - n) / spline(b, 1)
        b = np.clip(b - step, -20, 90)
        if np.all(np.abs(step) < 1e-12):
            break
    return np.asarray(b)


def brix_at_20c_from_refractometer(reading_brix: ArrayLike, temperature_c: ArrayLike) -> Floats:
    """Brix at 20 °C from the Brix a refractometer without compensation shows.

    Parameters
    ----------
    reading_brix : array_like
        10 to 40 in the table [Brix]; carried on in a straight line, with a warning, outside.
    temperature_c : array_like
        Of the prism, 5 to 25 [°C]; likewise.

    Notes
    -----
    Table I of OIV-MA-AS2-02 (OIV2012R), linear between its rows and columns; 20 to 25 °C rests on a
    row from memory.

    Examples
    --------
    >>> round(float(brix_at_20c_from_refractometer(24.0, 15.0)), 2)
    23.65
    """
    b, t = np.broadcast_arrays(
        np.asarray(reading_brix, dtype=float), np.asarray(temperature_c, dtype=float)
    )
    record = data.load("refractometer")["temperature_correction"]
    rows, columns = record["rows"], record["brix"]
    temperatures = [row["temperature_c"] for row in rows]
    last = np.where(t < 10, 30, 40)
    if np.any(b < 10) or np.any(b > last) or np.any(t < 5) or np.any(t > 25):
        warn_validity(say("refractometer table (OIV2012R): outside 10 to 40 Brix or 5 to 25 °C"))
    by_row = np.array([_straight(b, columns[: len(row["add"])], row["add"]) for row in rows])
    place = np.clip(np.searchsorted(temperatures, t) - 1, 0, len(rows) - 2)
    below, above = (np.take_along_axis(by_row, (place + i)[None], 0)[0] for i in (0, 1))
    cold, warm = np.take(temperatures, place), np.take(temperatures, place + 1)
    return np.asarray(b + below + (above - below) * (t - cold) / (warm - cold))


def refractive_index_from_composition(
    extract_g_l: ArrayLike, ethanol_g_l: ArrayLike, ethanol_refraction_cm3_g: float | None = None
) -> Floats:
    """Refractive index nD at 20 °C of a must or mead from what is dissolved in a litre of it.

    Parameters
    ----------
    extract_g_l, ethanol_g_l : array_like
        0 to 700 and 0 to 200 [g/L].
    ethanol_refraction_cm3_g : float or None
        ``(n - 1) / density`` of ethanol in water [cm3/g]; the recorded one when None.

    Returns
    -------
    ndarray
        Refractive index [-].

    Notes
    -----
    ``(n - 1) / density`` adds up by mass (Gladstone-Dale, which Herraez2006 found to agree with
    measured alcohol-water mixtures): ethanol on one side, on the other the sugar and water as a
    sucrose solution. Extract counts as sucrose. Not checked on measured mead.
    """
    extract, ethanol = (np.asarray(v, dtype=float) for v in (extract_g_l, ethanol_g_l))
    record = data.load("refractometer")["ethanol_refraction"]
    of_ethanol = record["value"] if ethanol_refraction_cm3_g is None else ethanol_refraction_cm3_g
    density = must_density_kg_m3(extract, ethanol)
    alcohol = ethanol / density
    sugar = np.clip(extract / density / (1 - alcohol), 0, 0.7)
    of_solution = (_index_spline()(100 * sugar) - 1) / sucrose_solution_density_kg_m3(sugar)
    total = (1 - alcohol) * of_solution * 1000 + alcohol * of_ethanol
    return np.asarray(1 + density / 1000 * total)


@dataclass(frozen=True)
class RefractometerResult:
    """A fermenting must as seen through a refractometer.

    Parameters
    ----------
    fermented : Fermented
        Everything the mass balance says of it.
    gravity_low, gravity_high, ethanol_pct_vol_low, ethanol_pct_vol_high : float
        About a 90 % range from reading error, ethanol yield and refraction of ethanol.
    """

    fermented: Fermented
    gravity_low: float
    gravity_high: float
    ethanol_pct_vol_low: float
    ethanol_pct_vol_high: float


def fermented_from_refractometer(
    reading_brix: float, original_brix: float, *, ethanol_yield_g_g: float = ETHANOL_YIELD_G_G
) -> RefractometerResult:
    """Gravity and alcohol of a fermenting must from its refractometer reading now and at the start.

    Parameters
    ----------
    reading_brix : float
        At 20 °C or corrected to it, not above the original [Brix].
    original_brix : float
        Of the must before fermentation, 1 to 60 [Brix].
    ethanol_yield_g_g : float
        As in `must.alcohol.ferment`, 0 to 0.5114 [g/g].

    Returns
    -------
    RefractometerResult

    Raises
    ------
    ImpossibleError
        If even dryness would read higher, the reading is above the start, or the yield is
        impossible.

    Notes
    -----
    Finds the hexose used for which `refractive_index_from_composition` gives the reading. The
    range takes either reading as wrong by 0.1 Brix (assumed), yields of 0.46 to 0.48 and the
    refraction of ethanol as recorded, independent of one another; what honey or fruit hold besides
    sugar is left out.

    Examples
    --------
    >>> now = fermented_from_refractometer(12.0, 24.0)
    >>> round(now.fermented.gravity, 3), round(now.fermented.ethanol_pct_vol, 1)
    (1.017, 11.4)
    """
    best = _balance(reading_brix, original_brix, ethanol_yield_g_g, None)
    record = data.load("refractometer")["ethanol_refraction"]
    y, err = ethanol_yield_g_g, READING_ERROR_BRIX
    varied = [
        *(_balance(reading_brix + off, original_brix, y, None) for off in (-err, err)),
        *(_balance(reading_brix, original_brix + off, y, None) for off in (-err, err)),
        *(_balance(reading_brix, original_brix, other, None) for other in YIELD_RANGE_G_G),
        *(_balance(reading_brix, original_brix, y, record[end]) for end in ("low", "high")),
    ]
    gravity = _spread(best.gravity, [v.gravity for v in varied])
    alcohol = _spread(best.ethanol_pct_vol, [v.ethanol_pct_vol for v in varied])
    return RefractometerResult(best, *gravity, max(alcohol[0], 0.0), alcohol[1])


def honey_moisture_pct_from_refractive_index(
    refractive_index: ArrayLike, temperature_c: ArrayLike = 20.0
) -> Floats:
    """Moisture of honey from its refractive index nD.

    Parameters
    ----------
    refractive_index : array_like
        1.4740 to 1.5044 once at 20 °C [-]; warns outside.
    temperature_c : array_like
        Of the prism [°C].

    Returns
    -------
    ndarray
        Water [% mass].

    Notes
    -----
    ``W = (-0.26810 - log10(n20 - 1)) / 0.002243``, ``n20 = n + 0.00023 (t - 20)``: Wedmore1955 in
    AOAC 969.38B.

    Examples
    --------
    >>> round(float(honey_moisture_pct_from_refractive_index(1.4915)), 1)
    18.0
    """
    record = data.load("refractometer")["honey_moisture"]
    t = np.asarray(temperature_c, dtype=float)
    n = np.asarray(refractive_index, dtype=float) + record["add_per_k_above_20c"] * (t - 20)
    if np.any(n < 1.4739) or np.any(n > 1.5045):
        warn_validity(
            say("honey moisture (Wedmore1955): refractive index outside 1.4740 to 1.5044")
        )
    return np.asarray((record["intercept"] - np.log10(n - 1)) / record["slope"])


def honey_density_kg_l_from_moisture(moisture_pct: float) -> tuple[float, float, float]:
    """Density of honey at 20 °C from its moisture: value, low, high [kg/L].

    Parameters
    ----------
    moisture_pct : float
        13 to 21 [% mass]; carried on in a straight line, with a warning, outside.

    Notes
    -----
    White1975 (specific gravity 20/20, from memory) times the density of water; the range is the
    0.004 by which found sources disagree.

    Examples
    --------
    >>> [round(v, 3) for v in honey_density_kg_l_from_moisture(17.0)]
    [1.421, 1.417, 1.425]
    """
    record = data.load("refractometer")["honey_gravity"]
    table, off = record["moisture_pct"], record["disagreement"]
    if not table[0] <= moisture_pct <= table[-1]:
        warn_validity(
            say(
                "honey density (White1975): moisture outside {least} to {most} %",
                least=table[0],
                most=table[-1],
            )
        )
    gravity = float(_straight(np.asarray(moisture_pct, dtype=float), table, record["gravity"]))
    water = float(sucrose_solution_density_kg_m3(0.0)) / 1000
    return gravity * water, (gravity - off) * water, (gravity + off) * water


def _balance(
    reading_brix: float, original_brix: float, ethanol_yield: float, refraction: float | None
) -> Fermented:
    """The mass balance whose refractive index is that of the reading."""
    extract = float(sugar_g_l_from_brix(original_brix))

    def reading_after(used: float) -> float:
        now = ferment(extract, extract, used, ethanol_yield_g_g=ethanol_yield)
        n = refractive_index_from_composition(now.extract_g_l, now.ethanol_g_l, refraction)
        return float(brix_from_refractive_index(n))

    dry, start = reading_after(extract), reading_after(0.0)
    allowed = 3 * READING_ERROR_BRIX
    if not dry - allowed <= reading_brix <= start + allowed:
        between = say(
            "needs a reading from {dry:.1f} (dry) to {start:.1f} Brix (the start)",
            dry=dry,
            start=start,
        )
        raise ImpossibleError("reading_brix", between, reading_brix)
    if reading_brix >= start or reading_brix <= dry:
        used = 0.0 if reading_brix >= start else extract
    else:
        used = brentq(lambda u: reading_after(u) - reading_brix, 0.0, extract, xtol=1e-9)
    return ferment(extract, extract, used, ethanol_yield_g_g=ethanol_yield)


def _spread(best: float, varied: list[float]) -> tuple[float, float]:
    """Quadrature of the departures, down and up."""
    down = sum(min(v - best, 0.0) ** 2 for v in varied) ** 0.5
    up = sum(max(v - best, 0.0) ** 2 for v in varied) ** 0.5
    return best - down, best + up


@cache
def _index_spline() -> CubicSpline:
    from scipy.interpolate import CubicSpline  # slow to import, and seldom asked

    record = data.load("refractometer")["refractive_index"]
    return CubicSpline(record["brix"], record["n"])


def _straight(x: Floats, grid: list[float], values: list[float]) -> Floats:
    """Linear between the grid points, carried on in a straight line beyond both ends."""
    place = np.clip(np.searchsorted(grid, x) - 1, 0, len(grid) - 2)
    left, right = np.take(grid, place), np.take(grid, place + 1)
    low, high = np.take(values, place), np.take(values, place + 1)
    return np.asarray(low + (high - low) * (x - left) / (right - left))
