"""The frame of every chart: scales, the time axis, ticks, levels, ranges, labels kept apart."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any

import numpy as np

from mustwright.languages import code_spoken
from mustwright.must.gravity_text import gravity_sign, steps_on_scale
from mustwright.texts import say
from mustwright.web.pictures.svg import dot, element, line, near, text

HOURS_PER_DAY = 24.0
LARGEST = 1200  # no picture is wider or taller
TWO_SD = 2.0
DAYS_APART = 40.0  # px between two days named
BESIDE = 14.0  # px; marks closer than this share their label


@dataclass(frozen=True)
class Scale:
    """Values laid out from `start` to `end`; what lies beyond is put on the edge."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Where a value is, to a tenth."""
        part = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return round(self.start + part * (self.end - self.start), 1)

    def past(self, value: float) -> float:
        """Where a value would be, even past the end."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    @property
    def px_per_unit(self) -> float:
        """Of the values laid out [px]."""
        return (self.end - self.start) / (self.high - self.low)

    def along(self, values: Any) -> list[str]:
        """`at` of many values, as text; all at once, from strings made beforehand."""
        tenths = np.array(values, dtype=float)
        tenths -= self.low
        tenths *= 10 * (self.end - self.start) / (self.high - self.low)
        tenths += 10 * self.start
        np.rint(tenths, out=tenths)
        first, last = sorted((round(10 * self.start), round(10 * self.end)))
        np.maximum(tenths, max(first, 0), out=tenths)
        np.minimum(tenths, min(last, 10 * LARGEST), out=tenths)
        texts = _tenths()
        return [texts[k] for k in tenths.astype(int).tolist()]

    def steps(self, sizes: Sequence[float], most: int) -> list[float]:
        """Round values between the ends, by the first size that gives no more than `most`."""
        reach = self.high - self.low
        size = next(s for s in sizes if reach / s <= most or s == sizes[-1])
        ends = math.ceil(self.low / size), math.floor(self.high / size)
        return [k * size for k in range(ends[0], ends[1] + 1)]


@cache
def _tenths() -> tuple[str, ...]:
    """Every coordinate a picture can have, by tenths, as text."""
    return tuple(f"{k / 10:g}" for k in range(10 * LARGEST + 1))


@dataclass(frozen=True)
class TimeAxis(Scale):
    """Hours after pitch from left to right, in whole days, some of which are named."""

    days: tuple[int, ...] = ()

    @classmethod
    def to_hold(cls, left: float, right: float, hours: Iterable[float]) -> TimeAxis:
        """An axis long enough for every hour given."""
        last = max([*hours, HOURS_PER_DAY])
        count = max(math.ceil(last / HOURS_PER_DAY - 1e-6), 1)
        room = (right - left) / count
        step = next(
            s for s in (1, 2, 5, 7, 14, 28, count + 1) if s * room >= DAYS_APART or s > count
        )
        return cls(0.0, count * HOURS_PER_DAY, left, right, tuple(range(0, count + 1, step)))

    x = Scale.at

    @property
    def end_h(self) -> float:
        """Last hour shown [h]."""
        return self.high

    @lru_cache(maxsize=256)  # noqa: B019 (an axis is a few numbers, and most pictures share one)
    def grid(self, top: float, bottom: float) -> str:
        """A fine line for each day named."""
        places = [self.x(d * HOURS_PER_DAY) for d in self.days]
        strokes = "".join(f"M{x:g} {top:g}V{bottom:g}" for x in places)
        return element("path", d=strokes, class_="grid")

    def labels(self, y: float) -> str:
        """The days along the axis, in the language spoken."""
        return self._labels(y, code_spoken())

    @lru_cache(maxsize=256)  # noqa: B019
    def _labels(self, y: float, _language: str) -> str:
        """Names of the days under (or over) the axis."""
        drawn = []
        step = self.x(self.days[1] * HOURS_PER_DAY) - self.start if len(self.days) > 1 else 99.0
        first = say("pitch", context="the moment") if step >= 48 else "0"
        named = self.days[1 if step >= 62 or len(self.days) < 4 else 2 : 3]
        for d in self.days:
            anchor = "start" if d == 0 else "end" if d * HOURS_PER_DAY == self.end_h else "middle"
            name = first if d == 0 else say("day {d}", d=d) if d in named[:1] else str(d)
            drawn.append(text(self.x(d * HOURS_PER_DAY), y, name, "t tick", anchor))
        return "".join(drawn)

    def spread(self, low: float | None, high: float | None, y: float, half: float = 3.0) -> str:
        """A range of hours; where it runs past the end it gets an arrow head."""
        if low is None or high is None:
            return ""
        x1, x2 = self.x(low), max(self.past(high), self.x(low))
        cut = min(x2, self.end)
        top, tall, left, right = (f"{v:.1f}" for v in (y - half, 2 * half, x1, cut))
        drawn = f"M{left} {y:.1f}H{right}M{left} {top}v{tall}"
        if x2 <= self.end:
            return element("path", d=f"{drawn}M{right} {top}v{tall}", class_="whisker")
        head = f"M{cut - 5:.1f} {top}l5 {half:g}l-5 {half:g}"
        return element("path", d=drawn + head, class_="whisker open")

    def now(self, hours: float, top: float, bottom: float, width: float) -> str:
        """The present moment, named."""
        x = self.x(hours)
        words = near(max(x, self.start + 16), top - 3, say("now"), width, "t mark")
        return line(x, top, x, bottom, "break") + words


@dataclass(frozen=True)
class Frame:
    """Two scales across each other."""

    across: Scale
    up: Scale

    @property
    def axis_words(self) -> str:
        """Where the axis lies: its ends [px], the values there, the top and the bottom [px]."""
        across, up = self.across, self.up
        ends = (across.start, across.end, across.low, across.high, up.end, up.start)
        return " ".join(f"{v:g}" for v in ends)

    def shown(self, places: Sequence[float]) -> int:
        """How many of the places, in order, lie on the axis."""
        return bisect_right(places, self.across.high)

    def ticks(self, name: str, sizes: Sequence[float], most: int, form: str) -> list[str]:
        """The grid of the upright scale, its figures to the left, and what they are."""
        return self._drawn_ticks(
            name, [(v, say("{v:{form}}", v=v, form=form)) for v in self.up.steps(sizes, most)]
        )

    def _drawn_ticks(self, name: str, steps: Sequence[tuple[float, str]]) -> list[str]:
        left, right = self.across.start, self.across.end
        tight = left < 60
        name_x, anchor = (0.0, "start") if tight else (left - 6, "end")
        strokes = "".join(f"M{left:g} {self.up.at(v):g}H{right:g}" for v, _ in steps)
        return [
            text(name_x, 12, name, "t tick", anchor),
            element("path", d=strokes, class_="grid"),
            *(text(left - 6, self.up.at(v) + 4, said, "t tick", "end") for v, said in steps),
        ]

    def gravity_ticks(self, sizes: Sequence[float], most: int) -> list[str]:
        """The same for gravities, on the scale chosen."""
        sign = gravity_sign()
        if not sign:
            return self.ticks(say("gravity"), sizes, most, ".3f")
        steps = steps_on_scale(self.up.low, self.up.high, most)
        return self._drawn_ticks(sign, steps)

    def level(self, value: float, words: str, class_: str, at_end: bool = False) -> list[str]:
        """A value that matters all along, with its name on the line."""
        y, left, right = self.up.at(value), self.across.start, self.across.end
        x, anchor = (right - 4, "end") if at_end else (left + 4, "start")
        return [line(left, y, right, y, "dry"), text(x, y - 5, words, class_, anchor)]

    def reading(self, place: float, value: float, sd: float) -> str:
        """A dot with two standard errors either way."""
        x, reach = self.across.at(place), TWO_SD * sd
        high, low = self.up.at(value + reach), self.up.at(value - reach)
        return line(x, high, x, low, "error") + dot(x, self.up.at(value), "dot read", 4)


def shared_labels(marks: Iterable[tuple[float, int]]) -> list[tuple[float, list[int]]]:
    """Numbered marks from left to right; those at the same place share a label."""
    groups: list[tuple[float, list[int]]] = []
    for x, number in marks:
        if groups and x - groups[-1][0] < BESIDE:
            groups[-1][1].append(number)
        else:
            groups.append((x, [number]))
    return groups


def label_rows(places: Sequence[float], room: float) -> list[int]:
    """Rows for labels so that none overlaps another."""
    ends: list[float] = []
    rows = []
    for x in places:
        row = next((i for i, end in enumerate(ends) if x - end >= room), len(ends))
        if row == len(ends):
            ends.append(x)
        ends[row] = x
        rows.append(row)
    return rows
