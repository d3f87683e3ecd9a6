"""Five quantiles, of one quantity or of a series: how an ensemble is kept beside a log."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Quantiles:
    """Five quantiles of one quantity; None where it lies beyond the horizon of the forecast."""

    p05: float | None
    p25: float | None
    p50: float | None
    p75: float | None
    p95: float | None


@dataclass(frozen=True)
class Along:
    """Five quantiles of a series, a list of the same length for each."""

    p05: tuple[float | None, ...]
    p25: tuple[float | None, ...]
    p50: tuple[float | None, ...]
    p75: tuple[float | None, ...]
    p95: tuple[float | None, ...]
