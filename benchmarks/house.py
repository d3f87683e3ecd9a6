"""How long does learning from fifty finished batches take, beside a fixed piece of work.

``python benchmarks/house.py`` prints both in milliseconds of processor time and their ratio; exit
code 1 where the fifty batches take more than 1 s on a machine where the fixed work takes as long
as on the one that measured it (`FIXED_MS`).
"""

from __future__ import annotations

import json
import time

import numpy as np
from load import fixed_work_ms

from mustwright.kinetics.parameters import EFFECTS
from mustwright.learning.batch_summary import BatchSummary
from mustwright.learning.house import house_of, prior_for
from mustwright.planning.likeness import Likeness

BATCHES, LIMIT_MS, FIXED_MS = 50, 1000.0, 6.0


def finished(count: int) -> list[BatchSummary]:
    """Summaries that tell eight effects well: five yeasts, ten honeys."""
    random = np.random.default_rng(7)
    size = len(EFFECTS)
    precision = np.where(np.arange(size) < 8, 4.0, 0.0)
    variance = 1 / (1 + precision)
    covariance = tuple(tuple(float(c) for c in row) for row in np.diag(variance))
    made = []
    for k in range(count):
        mean = np.sqrt(variance * precision) * random.standard_normal(size)
        like = Likeness(f"yeast {k % 5}", f"honey {k % 10}")
        made.append(BatchSummary(f"b{k}", like, tuple(map(float, mean)), covariance, 10**6))
    return made


def main() -> int:
    """Measure, print."""
    made, like = finished(BATCHES), Likeness("yeast 1", "honey 1")
    house_of(made[:2])  # imports
    took = []
    for _ in range(3):
        began = time.process_time()
        prior_for(house_of(made), like)
        took.append(1000 * (time.process_time() - began))
    house_ms, work_ms = min(took), fixed_work_ms()
    ratio = house_ms / work_ms
    found = {"batches": BATCHES, "house_ms": house_ms, "fixed_work_ms": work_ms, "ratio": ratio}
    print(json.dumps({name: round(value, 1) for name, value in found.items()}))
    return 0 if ratio < LIMIT_MS / FIXED_MS else 1


if __name__ == "__main__":
    raise SystemExit(main())
