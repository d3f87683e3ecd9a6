"""What goes in when: the feeds of one plan on a time axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from mustwright.figure import Figure
from mustwright.nutrition.feeding_plan import FeedingPlan
from mustwright.web.pages.figures import clock
from mustwright.web.pictures.svg import TimeAxis, element, line, picture, rect, text, whisker

WIDE, NARROW = 920.0, 340.0
TALLEST = 96.0


@dataclass(frozen=True)
class Mark:
    """A feed as the picture needs it [h, mg N/L]."""

    hours: float
    low: float | None
    high: float | None
    ammonium: float
    amino: float
    name: str


def marks_of(plan: FeedingPlan) -> list[Mark]:
    """The feeds of a plan."""
    return [
        Mark(
            feed.expected_h.value,
            feed.expected_h.low,
            feed.expected_h.high,
            feed.ammonium_mg_l.value,
            feed.amino_mg_l.value,
            feed.name,
        )
        for feed in plan.feeds
    ]


def axis_for(
    left: float,
    right: float,
    marks: Sequence[Mark],
    thirds: Sequence[Figure],
    hold_h: float = 0.0,
) -> TimeAxis:
    """An axis that holds every feed and every one-third break; long ranges are cut."""
    hours = [m.hours * 1.12 for m in marks] + [t.value * 1.3 for t in thirds] + [hold_h]
    return TimeAxis.to_hold(left, right, hours)


def band(axis: TimeAxis, third: Figure, top: float, bottom: float) -> str:
    """When a third of the sugar will be gone: its range as a band, the middle as a dashed line."""
    low = axis.x(third.low if third.low is not None else third.value)
    high = axis.x(third.high if third.high is not None else third.value)
    at = axis.x(third.value)
    return rect(low, top, high - low, bottom - top, "band") + line(at, top, at, bottom, "break")


def stack(mark: Mark, x: float, base: float, scale: float, hatch: str, width: float) -> str:
    """Ammonium at the bottom, amino on top; a feed with nothing in it is a bare stroke."""
    low, high = mark.ammonium * scale, mark.amino * scale
    left = x - width / 2
    drawn = line(x, base - 4, x, base + 4, "stem")
    if low > 0:
        drawn += rect(left, base - low, width, low, "ammonium")
    if high > 0:
        drawn += rect(left, base - low - high, width, high, "amino", hatch)
    return drawn


def feed_line(plan: FeedingPlan, third: Figure, narrow: bool = False) -> Markup:
    """The feeds of one plan, with ranges and the one-third break."""
    width = NARROW if narrow else WIDE
    name = "line-narrow" if narrow else "line-wide"
    marks = marks_of(plan)
    axis = axis_for(8, width - 8, marks, [third])
    top, base = 44.0, 44.0 + TALLEST + 16
    tallest = max([m.ammonium + m.amino for m in marks] + [1e-9])
    scale = TALLEST / tallest
    rows = label_rows([axis.x(m.hours) for m in marks], 44.0 if narrow else 62.0)
    depth = 18.0 * (max(rows, default=0) + 1)
    bottom = base + 32 + depth + 20
    body = [band(axis, third, top - 8, base), axis.grid(top - 8, base)]
    body.append(_band_words(axis, third, narrow, width))
    body.append(line(axis.left, base, axis.right, base, "spine"))
    for j, (mark, row) in enumerate(zip(marks, rows, strict=True)):
        x = axis.x(mark.hours)
        body.append(stack(mark, x, base, scale, f"{name}-hatch", 12 if narrow else 18))
        if mark.low is not None and mark.high is not None and mark.high > mark.low:
            body.append(
                whisker(
                    axis.x(mark.low),
                    _unclipped(axis, mark.high),
                    base + 9 + 5 * (j % 3),
                    axis.right,
                )
            )
        total = mark.ammonium + mark.amino
        above = base - total * scale - 5
        body.append(near(x, above, f"{total:.0f}", width, "t strong"))
        y = base + 36 + 18 * row
        body.append(line(x, base + 5, x, y - 11, "leader"))
        body.append(near(x, y, clock(mark.hours), width, "t"))
    body.append(axis.labels(bottom - 4))
    title = (
        f"{len(marks)} feeds on the line of time: "
        + "; ".join(
            f"{m.name}, {clock(m.hours)}, ammonium {m.ammonium:.0f} and amino {m.amino:.0f} mg N/L"
            for m in marks
        )
        + f". A third of the sugar gone after about {clock(third.value)}."
    )
    return picture(width, bottom, title, body, name, "narrow" if narrow else "wide")


def _unclipped(axis: TimeAxis, hours: float) -> float:
    """Where an hour would be, even past the end."""
    return axis.left + hours / axis.end_h * (axis.right - axis.left)


def _band_words(axis: TimeAxis, third: Figure, narrow: bool, width: float) -> str:
    said = "a third of the sugar gone" if narrow else "a third of the sugar gone, expected"
    return near(axis.x(third.value), 30, said, width, "t soft")


def near(x: float, y: float, words: str, width: float, class_: str) -> str:
    """Text centred on x, held inside the picture (up to 8.4 px a letter)."""
    half = 4.2 * len(words)
    held = min(max(x, half + 2), width - half - 2)
    return text(round(held, 1), round(y, 1), words, class_, "middle")


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


def nominal_line(feeds: Sequence[tuple[float, str, str]], third: Figure, key: str) -> Markup:
    """A protocol without a must: when its feeds fall on a nominal one, and their shares.

    Parameters
    ----------
    feeds : sequence of (hours, name, share in words)
    """
    width = NARROW
    axis = TimeAxis.to_hold(8, width - 8, [f[0] * 1.08 for f in feeds] + [third.value * 1.3])
    base = 40.0
    body = [band(axis, third, 12, base), axis.grid(12, base)]
    body.append(line(axis.left, base, axis.right, base, "spine"))
    places = [axis.x(hours) for hours, _, _ in feeds]
    rows = label_rows(places, 38.0)
    for (_, _, share), x, row in zip(feeds, places, rows, strict=True):
        body.append(element("circle", cx=x, cy=base, r=6, class_="dot"))
        body.append(near(x, base + 22 + 15 * row, share, width, "t"))
    height = base + 30 + 15 * max(rows, default=0) + 18
    body.append(axis.labels(height - 3))
    title = "Feeds on a nominal must: " + "; ".join(
        f"{name} {clock(hours)} {share}" for hours, name, share in feeds
    )
    return picture(width, height, title, body, f"nominal-{key}", "nominal")


def small_line(plan: FeedingPlan, third: Figure, key: str) -> Markup:
    """The feeds of a plan at a glance, for a list."""
    width, base = NARROW, 34.0
    marks = marks_of(plan)
    axis = axis_for(8, width - 8, marks, [third])
    tallest = max([m.ammonium + m.amino for m in marks] + [1e-9])
    body = [band(axis, third, 6, base), axis.grid(base - 4, base)]
    body.append(line(axis.left, base, axis.right, base, "spine"))
    body += [
        stack(m, axis.x(m.hours), base, 28.0 / tallest, f"small-{key}-hatch", 10) for m in marks
    ]
    body.append(axis.labels(base + 16))
    title = "Feeds: " + ("; ".join(f"{m.name} {clock(m.hours)}" for m in marks) or "none")
    return picture(width, base + 22, title, body, f"small-{key}", "small")
