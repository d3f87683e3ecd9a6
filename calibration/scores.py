"""How good is a forecast: error of its middle, continuous ranked probability score, cover."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
SPANS_H = (0.0, 6.0, 24.0, 48.0, 80.0, 1e9)


@dataclass(frozen=True)
class Judged:
    """Points of one or several fermentations against an ensemble.

    Parameters
    ----------
    t_h : ndarray
        Hours after pitch [h].
    error : ndarray
        Middle of the forecast less what was seen.
    crps : ndarray
        Continuous ranked probability score, in the unit of the quantity.
    low, high, inner_low, inner_high : ndarray
        Ends of the 90 % and of the 50 % band.
    seen : ndarray
    """

    t_h: Floats
    error: Floats
    crps: Floats
    low: Floats
    high: Floats
    inner_low: Floats
    inner_high: Floats
    seen: Floats

    @property
    def inside(self) -> Floats:
        """1 where the 90 % band holds the point."""
        return ((self.seen >= self.low) & (self.seen <= self.high)).astype(float)

    @property
    def inside_half(self) -> Floats:
        """1 where the 50 % band holds the point."""
        return ((self.seen >= self.inner_low) & (self.seen <= self.inner_high)).astype(float)


def judge(t_h: Floats, values: Floats, seen: Floats) -> Judged:
    """Score an ensemble.

    Parameters
    ----------
    t_h, seen : ndarray
        Hours [h] and what was measured then.
    values : ndarray
        Times by members, reading error included where there is one.
    """
    q = np.quantile(values, (0.05, 0.25, 0.5, 0.75, 0.95), axis=1)
    return Judged(
        np.asarray(t_h, float), q[2] - seen, crps(values, seen), q[0], q[4], q[1], q[3],
        np.asarray(seen, float),
    )  # fmt: skip


def crps(values: Floats, seen: Floats) -> Floats:
    """Continuous ranked probability score of an ensemble, times by members, at each time.

    ``E|X - y| - E|X - X'|/2`` (Gneiting2007), the second term from the sorted members.
    """
    ordered = np.sort(values, axis=1)
    n = ordered.shape[1]
    weight = 2 * np.arange(1, n + 1) - n - 1
    spread = (ordered * weight).sum(axis=1) / n**2
    return np.abs(ordered - seen[:, None]).mean(axis=1) - spread


def pool(parts: list[Judged]) -> Judged:
    """Several as one."""
    fields = Judged.__dataclass_fields__
    return Judged(**{f: np.concatenate([getattr(p, f) for p in parts]) for f in fields})


def part(one: Judged, keep: NDArray[np.bool_]) -> Judged:
    """Only some of the points."""
    return Judged(**{f: getattr(one, f)[keep] for f in Judged.__dataclass_fields__})


def figures(one: Judged) -> dict[str, float]:
    """Pooled figures."""
    if one.seen.size == 0:
        return {"points": 0}
    return {
        "points": int(one.seen.size),
        "mean_absolute_error": float(np.abs(one.error).mean()),
        "median_absolute_error": float(np.median(np.abs(one.error))),
        "bias": float(one.error.mean()),
        "crps": float(one.crps.mean()),
        "coverage_90": float(one.inside.mean()),
        "coverage_50": float(one.inside_half.mean()),
        "mean_width_90": float((one.high - one.low).mean()),
    }


def by_time(one: Judged) -> dict[str, dict[str, float]]:
    """Figures by span of hours after the pitch."""
    out = {}
    for low, high in itertools.pairwise(SPANS_H):
        name = f"{low:g} to {high:g} h" if high < 1e6 else f"from {low:g} h"
        out[name] = figures(part(one, (one.t_h >= low) & (one.t_h < high)))
    return out
