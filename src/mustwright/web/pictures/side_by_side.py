"""Which protocol brings what, when: all of them on one time axis, with what is still short."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from mustwright.figure import Figure
from mustwright.nutrition.feeding_plan import FeedingPlan, NitrogenSheet
from mustwright.web.pictures.feed_line import (
    Mark,
    _unclipped,
    axis_for,
    band,
    marks_of,
    stack,
)
from mustwright.web.pictures.svg import TimeAxis, line, picture, rect, text, whisker, wrapped

WIDE, NARROW = 1000.0, 344.0
ROW, TALLEST = 72.0, 48.0
NARROW_ROW = 112.0
LETTERS = 44

__all__ = ["common_axis", "side_by_side"]


def side_by_side(
    plans: Sequence[FeedingPlan],
    thirds: Sequence[Figure],
    best: str,
    narrow: bool = False,
    hold_h: float = 0.0,
) -> Markup:
    """One row for each plan: its feeds on the common axis, and its total against the demand."""
    width = NARROW if narrow else WIDE
    name = "side-narrow" if narrow else "side-wide"
    every = [marks_of(plan) for plan in plans]
    axis = common_axis(plans, thirds, narrow, hold_h)
    bar = (8.0, width - 92.0) if narrow else (712.0, 912.0)
    tallest = max([m.ammonium + m.amino for marks in every for m in marks] + [1e-9])
    most = (
        max([max(p.nitrogen.total_mg_l.value, p.nitrogen.demand_mg_l.value) for p in plans]) * 1.05
    )
    heights = [_height(plan, plan.protocol == best, narrow) for plan in plans]
    top = 30.0
    bottom = top + sum(heights)
    body = [] if narrow else [axis.grid(top - 4, bottom)]
    body.append(axis.labels(16.0))
    if not narrow:
        body.append(text(bar[0], 16, "total against demand, mg N/L", "t tick"))
    y = top
    for plan, marks, third, height in zip(plans, every, thirds, heights, strict=True):
        base = y + height - (48.0 if narrow else 14.0)
        body.append(_time(axis, marks, third, base, TALLEST / tallest, f"{name}-hatch", narrow))
        body.append(_name(plan, plan.protocol == best, y, narrow))
        body.append(_bar(plan.nitrogen, bar, most, base + (14 if narrow else -34), f"{name}-hatch"))
        y += height
        if not narrow:
            body.append(line(0, y, width, y, "grid"))
    title = "Protocols side by side: " + "; ".join(
        f"{p.protocol_name}: {p.nitrogen.total_mg_l.value:.0f} of "
        f"{p.nitrogen.demand_mg_l.value:.0f} mg N/L in {len(p.feeds)} feeds"
        for p in plans
    )
    return picture(width, bottom + 8, title, body, name, "narrow" if narrow else "wide")


def common_axis(
    plans: Sequence[FeedingPlan], thirds: Sequence[Figure], narrow: bool, hold_h: float = 0.0
) -> TimeAxis:
    """The time axis of all plans, at least as long as `hold_h` [h]."""
    span = (46.0, NARROW - 8.0) if narrow else (258.0, 690.0)
    marks = [mark for plan in plans for mark in marks_of(plan)]
    return axis_for(*span, marks, thirds, hold_h)


def _height(plan: FeedingPlan, best: bool, narrow: bool) -> float:
    """Rows of a narrow picture grow with the lines their name takes."""
    if not narrow:
        return ROW
    lines = len(wrapped(plan.protocol_name, LETTERS)) + (best or not plan.feasible)
    return NARROW_ROW + 15.0 * lines


def _time(
    axis: TimeAxis,
    marks: Sequence[Mark],
    third: Figure,
    base: float,
    scale: float,
    hatch: str,
    narrow: bool,
) -> str:
    drawn = band(axis, third, base - TALLEST - 4, base)
    if narrow:
        drawn += axis.grid(base - 4, base)
    drawn += line(axis.left, base, axis.right, base, "spine")
    for mark in marks:
        drawn += stack(mark, axis.x(mark.hours), base, scale, hatch, 10)
    ranged = [m for m in marks if m.low is not None and m.high is not None and m.high > m.low]
    for j, mark in enumerate(ranged):
        low, high = axis.x(mark.low or 0.0), _unclipped(axis, mark.high or 0.0)
        drawn += whisker(low, high, base + 5 + 3.5 * (j % 3), axis.right, 2.0)
    return drawn


def _name(plan: FeedingPlan, best: bool, y: float, narrow: bool) -> str:
    """The protocol's name, on two lines where it is long, and what is to be said at once."""
    said = "suits best" if best else "" if plan.feasible else "cannot be made as written"
    left, first, step = (8.0, 16.0, 15.0) if narrow else (0.0, 19.0, 16.0)
    words = wrapped(plan.protocol_name, LETTERS if narrow else 32)
    drawn = "".join(
        text(left, y + first + step * k, words_, "t strong") for k, words_ in enumerate(words)
    )
    if said:
        drawn += text(left, y + first + step * len(words), said, "t mark" if best else "t soft")
    return drawn


def _bar(
    nitrogen: NitrogenSheet, span: tuple[float, float], most: float, y: float, hatch: str
) -> str:
    left, right = span

    def x(value: float) -> float:
        return round(left + value / most * (right - left), 1)

    demand, whole = nitrogen.demand_mg_l.value, nitrogen.total_mg_l.value
    drawn = rect(left, y, x(demand) - left, 18, "hollow")
    at = 0.0
    for value, kind, amino in (
        (nitrogen.credit_ammonium_mg_l.value, "ammonium half", False),
        (nitrogen.credit_amino_mg_l.value, "amino half", True),
        (nitrogen.rehydration_mg_l.value, "wake", False),
        (nitrogen.added_ammonium_mg_l.value, "ammonium", False),
        (nitrogen.added_amino_mg_l.value, "amino", True),
    ):
        half = kind.endswith("half")
        if value > 0:
            drawn += rect(
                x(at), y + (9 if half else 0), x(at + value) - x(at), 9 if half else 18, kind,
                hatch if amino else "",
            )  # fmt: skip
        at += value
    drawn += line(x(demand), y - 5, x(demand), y + 23, "need")
    said = f"{whole:.0f} of {demand:.0f}"
    return drawn + text(right + 8, y + 14, said, "t strong")
