"""Which values stand behind a picture: the table that says the same, moment by moment."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from mustwright.must.gravity_text import gravity_span, gravity_text
from mustwright.planning.hours_text import clock
from mustwright.planning.outcome import Outcome
from mustwright.texts import say

STEPS_H = (6.0, 12.0, 24.0, 48.0, 96.0, 168.0)
MOST_MOMENTS = 16
ROUND_H = 6.0  # what lies no further apart is told together


@dataclass(frozen=True)
class ValueTable:
    """What a picture shows, in words.

    Parameters
    ----------
    rows : tuple of str
        Names of what is shown.
    moments : tuple of (float, str, tuple of str)
        Place along the axis, its name, and the value of each row.
    keys : tuple of str
        The curve each row belongs to; empty where there is only one.
    """

    rows: tuple[str, ...]
    moments: tuple[tuple[float, str, tuple[str, ...]], ...]
    keys: tuple[str, ...] = ()


def moments_until(end_h: float, most: int = MOST_MOMENTS) -> list[float]:
    """Hours after pitch, evenly apart, no more than so many [h]."""
    step = next((s for s in STEPS_H if end_h / s < most), STEPS_H[-1])
    return [k * step for k in range(int(end_h // step) + 1)]


def told_together(
    named: Sequence[tuple[str, Sequence[tuple[float, str]]]], most: float = math.inf
) -> ValueTable:
    """What happened to several at hours of their own, as rounds no longer than `ROUND_H`.

    Parameters
    ----------
    named : sequence of (name, sequence of (hours, words))
        Hours after pitch [h]; a round has one of each name at most.
    most : float
        Of more rounds than that, every second one or fewer are told, and the last.
    """
    every = sorted(
        (max(hours, 0.0), k, words) for k, (_, ones) in enumerate(named) for hours, words in ones
    )
    rounds: list[tuple[float, dict[int, str]]] = []
    for hours, k, words in every:
        if not rounds or hours - rounds[-1][0] > ROUND_H or k in rounds[-1][1]:
            rounds.append((hours, {}))
        rounds[-1][1][k] = words
    step = max(math.ceil(len(rounds) / most), 1)
    shown = [*rounds[:-1:step], *rounds[-1:]]
    moments = [
        (hours, clock(hours), tuple(told.get(k, "") for k in range(len(named))))
        for hours, told in shown
    ]
    return ValueTable(tuple(name for name, _ in named), tuple(moments))


def gravity_values(outcome: Outcome, end_h: float) -> ValueTable:
    """The middle of a forecast and its two ranges."""
    at = _reader(outcome)
    g = outcome.gravity
    rows = [
        (h, clock(h), (gravity_text(at(g.p50, h)), _range(at(g.p25, h), at(g.p75, h)),
                       _range(at(g.p05, h), at(g.p95, h))))
        for h in moments_until(end_h)
    ]  # fmt: skip
    return ValueTable((say("middle"), say("half of the runs"), say("nine in ten")), tuple(rows))


def middles(named: Sequence[tuple[str, str, Outcome]], end_h: float, most: int = 12) -> ValueTable:
    """The middle gravity of several forecasts, by key and name."""
    readers = [(outcome.gravity.p50, _reader(outcome)) for _, _, outcome in named]
    rows = [
        (h, clock(h), tuple(gravity_text(at(middle, h)) for middle, at in readers))
        for h in moments_until(end_h, most)
    ]
    keys, names = (key for key, _, _ in named), (name for _, name, _ in named)
    return ValueTable(tuple(names), tuple(rows), tuple(keys))


def _reader(outcome: Outcome) -> Callable[[Any, float], float]:
    def at(row: Any, hours: float) -> float:
        return float(np.interp(hours, outcome.times_h, row))

    return at


def _range(low: float, high: float) -> str:
    return gravity_span(low, high)
