"""Which protocol brings what, when: all of them on one time axis, with what is still short."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from mustwright.figure import Figure
from mustwright.nutrition.feeding_plan import FeedingPlan, NitrogenSheet
from mustwright.texts import join, say, say_n
from mustwright.web.pictures.feed_line import Mark, axis_for, band, marks_of, ranges, tallest
from mustwright.web.pictures.frame import Frame, Scale, TimeAxis
from mustwright.web.pictures.nitrogen import bar, nitrogen_parts, stack
from mustwright.web.pictures.svg import Canvas, line, rect, text, wrapped
from mustwright.web.pictures.values import ValueTable, told_together

WIDE, NARROW = 1000.0, 344.0
TOP, ROW, TALLEST = 30.0, 72.0, 48.0
NARROW_ROW = 112.0
LETTERS = 44


def side_by_side(
    plans: Sequence[FeedingPlan],
    thirds: Sequence[Figure],
    best: str,
    narrow: bool = False,
    hold_h: float = 0.0,
) -> Markup:
    """One row for each plan: its feeds on the common axis, and its total against the demand."""
    canvas = Canvas("side", narrow, WIDE, NARROW)
    every = [marks_of(plan) for plan in plans]
    axis = common_axis(plans, thirds, narrow, hold_h)
    most = max(max(p.nitrogen.total_mg_l.value, p.nitrogen.demand_mg_l.value) for p in plans)
    ends = (8.0, canvas.width - 92.0) if narrow else (712.0, 912.0)
    total = Scale(0.0, most * 1.05, *ends)
    scale = TALLEST / tallest([mark for marks in every for mark in marks])
    heights = [_height(plan, plan.protocol == best, narrow) for plan in plans]
    bottom = TOP + sum(heights)
    body = [axis.labels(16.0)]
    if not narrow:
        body = [
            axis.grid(TOP - 4, bottom),
            *body,
            text(total.start, 16, say("total against demand, mg N/L"), "t tick"),
        ]
    y = TOP
    for plan, marks, third, height in zip(plans, every, thirds, heights, strict=True):
        base = y + height - (48.0 if narrow else 14.0)
        body.append(_time(axis, marks, third, base, scale, canvas))
        body.append(_name(plan, plan.protocol == best, y, narrow))
        body.append(_bar(plan.nitrogen, total, base + (32 if narrow else -16), canvas.hatch))
        y += height
        if not narrow:
            body.append(line(0, y, canvas.width, y, "grid"))
    title = say(
        "Protocols side by side: {protocols}",
        protocols=join(
            "; ",
            (
                say_n(
                    "{name}: {total_mg_l:.0f} of {demand_mg_l:.0f} mg N/L in {count} feed",
                    "{name}: {total_mg_l:.0f} of {demand_mg_l:.0f} mg N/L in {count} feeds",
                    len(p.feeds),
                    name=p.protocol_name,
                    total_mg_l=p.nitrogen.total_mg_l.value,
                    demand_mg_l=p.nitrogen.demand_mg_l.value,
                )
                for p in plans
            ),
        ),
    )
    across = Frame(axis, Scale(0.0, 1.0, bottom, TOP - 4)).axis_words
    return canvas.picture(bottom + 8, title, body, across)


def side_by_side_values(plans: Sequence[FeedingPlan]) -> ValueTable:
    """What stands behind that picture: who feeds how much nitrogen when."""
    return told_together(
        [
            (
                plan.protocol_name,
                [(m.hours, say("{total:.0f} mg N/L", total=m.total)) for m in marks_of(plan)],
            )
            for plan in plans
        ]
    )


def common_axis(
    plans: Sequence[FeedingPlan], thirds: Sequence[Figure], narrow: bool, hold_h: float = 0.0
) -> TimeAxis:
    """The time axis of all plans, at least as long as `hold_h` [h]."""
    span = (46.0, NARROW - 30.0) if narrow else (258.0, 690.0)
    marks = [mark for plan in plans for mark in marks_of(plan)]
    return axis_for(*span, marks, thirds, hold_h)


def _height(plan: FeedingPlan, best: bool, narrow: bool) -> float:
    """Rows of a narrow picture grow with the lines their name takes."""
    if not narrow:
        return ROW
    lines = len(wrapped(plan.protocol_name, LETTERS)) + (best or not plan.feasible)
    return NARROW_ROW + 15.0 * lines


def _time(
    axis: TimeAxis, marks: Sequence[Mark], third: Figure, base: float, scale: float, canvas: Canvas
) -> str:
    drawn = [
        band(axis, third, base - TALLEST - 4, base),
        axis.grid(base - 4, base) if canvas.narrow else "",
        line(axis.start, base, axis.end, base, "spine"),
    ]
    for m in marks:
        drawn.append(stack(m.ammonium, m.amino, axis.x(m.hours), base, scale, canvas.hatch, 10))
    return "".join([*drawn, *ranges(axis, marks, base + 5, 3.5, 2.0)])


def _name(plan: FeedingPlan, best: bool, y: float, narrow: bool) -> str:
    """The protocol's name, on two lines where it is long, and what is to be said at once."""
    said = say("recommended") if best else "" if plan.feasible else say("stays short")
    left, first, step = (8.0, 16.0, 15.0) if narrow else (0.0, 19.0, 16.0)
    words = wrapped(plan.protocol_name, LETTERS if narrow else 32)
    lines = [(one, "t strong") for one in words]
    if said:
        lines.append((said, "t mark" if best else "t soft"))
    return "".join(text(left, y + first + step * k, *one) for k, one in enumerate(lines))


def _bar(nitrogen: NitrogenSheet, scale: Scale, base: float, hatch: str) -> str:
    demand, whole = nitrogen.demand_mg_l.value, nitrogen.total_mg_l.value
    x = scale.at(demand)
    return (
        rect(scale.start, base - 18, x - scale.start, 18, "hollow")
        + bar(nitrogen_parts(nitrogen), scale, base, 18, hatch)
        + line(x, base - 23, x, base + 5, "need")
        + text(
            scale.end + 8,
            base - 4,
            say("{whole:.0f} of {demand:.0f}", whole=whole, demand=demand),
            "t strong",
        )
    )
