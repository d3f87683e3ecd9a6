"""Five quantiles of what members say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

PROBABILITIES = (0.05, 0.25, 0.50, 0.75, 0.95)


@dataclass(frozen=True)
class Band:
    """Five quantiles of one quantity, single numbers or along the times of the forecast."""

    p05: Any
    p25: Any
    p50: Any
    p75: Any
    p95: Any


def band(values: NDArray[Any]) -> Band:
    """Quantiles over the last axis, the member nearest to each probability."""
    ordered = np.sort(values, axis=-1)
    last = values.shape[-1] - 1
    return Band(*(ordered[..., round(p * last)].astype(float) for p in PROBABILITIES))


def single(values: NDArray[Any]) -> Band:
    """Quantiles of one quantity over the members."""
    found = band(values)
    return Band(*(float(getattr(found, f"p{round(100 * p):02d}")) for p in PROBABILITIES))
