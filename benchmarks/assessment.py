"""How well is a batch judged: healthy ones called stopped short, stopped ones found, and when.

``python -m benchmarks.assessment --json`` judges 240 simulated batches (`simulated_batches`: four
shapes, half of them stopping) after every reading, as a maker would see it an hour later.
``false_stopped`` is the share of healthy batches that were ever surely "stopped short";
``median_delay_d`` the days from the stop (less than 0.001 of gravity still to fall) to the first
sure "stopped short"; ``false_finished`` the share of batches called finished at any moment with
more than 8 g/L of fermentable sugar left, of those ever called finished. Those that stop leave at
least 18 % of their sugar: a stop nearer the end cannot be told from a must of which less ferments;
``near_end`` says what becomes of such: ``called_finished`` is the share of them that was called
finished at some moment, each time wrongly.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from statistics import median
from typing import Any

from benchmarks.simulated_batches import PITCHED, SHAPES, SimulatedBatch, batches, one_batch
from mustwright.batch.assessment import FINISHED, STOPPED, assess
from mustwright.batch.log import standing
from mustwright.batch.progress import progress_of
from mustwright.batch.snapshot import Gist, gist_of

LEFT_THAT_COUNTS_G_L = 8.0
HOUR_LATER = timedelta(hours=1)


def verdict(gist: Gist, day: float) -> tuple[bool, bool]:
    """Whether a batch is surely stopped short, and whether it is called finished."""
    now = progress_of(gist, PITCHED + timedelta(days=day) + HOUR_LATER)
    phase = assess(now, gist.events).phase
    return phase == STOPPED, phase == FINISHED


def judged(batch: SimulatedBatch) -> tuple[float | None, float | None, bool, bool]:
    """Day first surely stopped before and after its stop, ever finished, and falsely so."""
    whole = gist_of(standing(batch.entries))
    early = late = None
    finished = wrong = False
    for k, day in enumerate(batch.read_d):
        series = whole.series[: k + 1]
        gist = replace(whole, series=series, last_at=series[-1].at)
        is_stopped, is_finished = verdict(gist, day)
        if is_stopped and (batch.stopped_d is None or day < batch.stopped_d - 1.0):
            early = day if early is None else early
        elif is_stopped and late is None:
            late = day
        finished |= is_finished
        wrong |= is_finished and batch.left_at(day) > LEFT_THAT_COUNTS_G_L
    return early, late, finished, wrong


def measure(cases: Sequence[SimulatedBatch]) -> dict[str, Any]:
    """The figures over some batches."""
    rows = [(batch, *judged(batch)) for batch in cases]
    healthy = [row for row in rows if row[0].stopped_d is None]
    stopping = [row for row in rows if row[0].stopped_d is not None]
    delays = sorted(
        max(late - batch.stopped_d, 0.0)
        for batch, _, late, *_ in stopping
        if late is not None and batch.stopped_d is not None
    )
    called = [row for row in rows if row[3]]
    return {
        "batches": len(rows),
        "false_stopped": _share([row[1] is not None for row in healthy]),
        "median_delay_d": round(median(delays), 2) if delays else None,
        "worst_delay_d": round(delays[-1], 2) if delays else None,
        "found_within_7_d": _share([d <= 7 for d in delays], len(stopping)),
        "never_found": len(stopping) - len(delays),
        "false_finished": _share([row[4] for row in called]),
        "healthy_finished": _share([row[3] for row in healthy]),
        "by_shape": {
            shape: {
                "false_stopped": _share([r[1] is not None for r in healthy if r[0].shape == shape]),
            }
            for shape in SHAPES
        },
    }


def _share(yes: Sequence[bool], of: int | None = None) -> float:
    count = len(yes) if of is None else of
    return round(sum(yes) / count, 4) if count else 0.0


def near_end(count: int, seed: int) -> dict[str, Any]:
    """Stops with 6 to 18 % of the sugar left: found late or not at all."""
    chance = random.Random(seed)
    cases = [one_batch(SHAPES[i % 4], True, chance, (0.06, 0.18)) for i in range(count)]
    found = measure(cases)
    called = [judged(batch)[3] for batch in cases]
    return {
        **{k: found[k] for k in ("found_within_7_d", "never_found")},
        "called_finished": _share(called),
    }


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--batches", type=int, default=240)
    parser.add_argument("--seed", type=int, default=16)
    asked = parser.parse_args()
    found = measure(batches(asked.batches, asked.seed))
    found["near_end"] = near_end(40, asked.seed + 1)
    if asked.json:
        json.dump(found, sys.stdout, indent=2)
        print()
        return
    for name, value in found.items():
        print(f"{name:>20}  {value}")


if __name__ == "__main__":
    main()
