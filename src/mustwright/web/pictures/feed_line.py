"""What goes in when: the feeds of one plan on a time axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from mustwright.figure import Figure
from mustwright.nutrition.feeding_plan import FeedingPlan
from mustwright.planning.hours_text import clock
from mustwright.texts import join, say
from mustwright.web.pictures.frame import TimeAxis, label_rows
from mustwright.web.pictures.nitrogen import stack
from mustwright.web.pictures.svg import Canvas, dot, line, near, picture, rect
from mustwright.web.pictures.values import ValueTable

SMALL = 340.0
TALLEST = 96.0
TOP, BASE = 44.0, 44.0 + TALLEST + 16

LETTER, APART = 6.6, 6.0  # widest of a letter of these labels, and between two of them


@dataclass(frozen=True)
class Mark:
    """A feed as the picture needs it [h, mg N/L]."""

    name: str
    hours: float
    low: float | None
    high: float | None
    ammonium: float
    amino: float

    @property
    def total(self) -> float:
        """Its nitrogen [mg N/L]."""
        return self.ammonium + self.amino


def marks_of(plan: FeedingPlan) -> list[Mark]:
    """The feeds of a plan."""
    return [
        Mark(feed.name, at.value, at.low, at.high, feed.ammonium_mg_l.value, feed.amino_mg_l.value)
        for feed in plan.feeds
        for at in (feed.expected_h,)
    ]


def tallest(marks: Sequence[Mark]) -> float:
    """Nitrogen of the largest feed, never nothing [mg N/L]."""
    return max([mark.total for mark in marks] + [1e-9])


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


def ground(
    axis: TimeAxis, third: Figure, top: float, base: float, grid_top: float | None = None
) -> list[str]:
    """The one-third break, the days, and the line that feeds stand on."""
    days = axis.grid(top if grid_top is None else grid_top, base)
    spine = line(axis.start, base, axis.end, base, "spine")
    return [band(axis, third, top, base), days, spine]


def ranges(axis: TimeAxis, marks: Sequence[Mark], y: float, step: float, half: float) -> list[str]:
    """Between which hours each feed falls, on three rows in turn."""
    ranged = [m for m in marks if m.low is not None and m.high is not None and m.high > m.low]
    return [axis.spread(m.low, m.high, y + step * (j % 3), half) for j, m in enumerate(ranged)]


def feed_line(plan: FeedingPlan, third: Figure, narrow: bool = False) -> Markup:
    """The feeds of one plan, with ranges and the one-third break."""
    canvas = Canvas("line", narrow)
    width, marks = canvas.width, marks_of(plan)
    axis = axis_for(8, width - 8, marks, [third])
    scale = TALLEST / tallest(marks)
    longest = max((len(clock(m.hours)) for m in marks), default=0)
    rows = label_rows([axis.x(m.hours) for m in marks], LETTER * longest + APART)
    bottom = BASE + 52 + 18.0 * (max(rows, default=0) + 1)
    said = say("a third of the sugar gone, expected")
    if narrow:
        said = say("a third of the sugar gone")
    body = [
        *ground(axis, third, TOP - 8, BASE),
        near(axis.x(third.value), 30, said, width, "t soft"),
        *ranges(axis, marks, BASE + 9, 5.0, 3.0),
    ]
    for mark, row in zip(marks, rows, strict=True):
        x, y = axis.x(mark.hours), BASE + 36 + 18 * row
        thick = 12 if narrow else 18
        body += [
            stack(mark.ammonium, mark.amino, x, BASE, scale, canvas.hatch, thick),
            near(
                x,
                BASE - mark.total * scale - 5,
                say("{total:.0f}", total=mark.total),
                width,
                "t strong",
            ),
            line(x, BASE + 5, x, y - 11, "leader"),
            near(x, y, clock(mark.hours), width, "t"),
        ]
    body.append(axis.labels(bottom - 4))
    told = (
        say(
            "{name}, {clock}, ammonium {ammonium:.0f} and amino {amino:.0f} mg N/L",
            name=m.name,
            clock=clock(m.hours),
            ammonium=m.ammonium,
            amino=m.amino,
        )
        for m in marks
    )
    feeds = join("; ", told)
    gone = say("A third of the sugar gone after about {clock}.", clock=clock(third.value))
    title = say(
        "{marks} feeds on the line of time: {feeds}. {gone}",
        marks=len(marks),
        feeds=feeds,
        gone=gone,
    )
    ends = (axis.start, axis.end, axis.low, axis.high, TOP - 8, BASE)
    return canvas.picture(bottom, title, body, " ".join(f"{v:g}" for v in ends))


def feed_values(plan: FeedingPlan) -> ValueTable:
    """What stands behind that picture."""
    rows = (say("feed"), say("ammonium, mg N/L"), say("amino, mg N/L"))
    return ValueTable(
        rows,
        tuple(
            (
                m.hours,
                clock(m.hours),
                (
                    m.name,
                    say("{ammonium:.0f}", ammonium=m.ammonium),
                    say("{amino:.0f}", amino=m.amino),
                ),
            )
            for m in marks_of(plan)
        ),
    )


def nominal_line(feeds: Sequence[tuple[float, str, str]], third: Figure, key: str) -> Markup:
    """A protocol without a must: when its feeds fall on a nominal one, and their shares.

    Parameters
    ----------
    feeds : sequence of (hours, name, share in words)
    """
    hours = [f[0] * 1.08 for f in feeds] + [third.value * 1.3]
    axis, base = TimeAxis.to_hold(8, SMALL - 8, hours), 40.0
    body = ground(axis, third, 12, base)
    places = [axis.x(hours) for hours, _, _ in feeds]
    rows = label_rows(places, 38.0)
    for (_, _, share), x, row in zip(feeds, places, rows, strict=True):
        body += [dot(x, base, "dot", 6), near(x, base + 22 + 15 * row, share, SMALL, "t")]
    height = base + 30 + 15 * max(rows, default=0) + 18
    body.append(axis.labels(height - 3))
    title = say(
        "Feeds on a nominal must: {feeds}",
        feeds=join("; ", (join(" ", (name, clock(hours), share)) for hours, name, share in feeds)),
    )
    return picture(SMALL, height, title, body, f"nominal-{key}", "nominal")


def small_line(plan: FeedingPlan, third: Figure, key: str) -> Markup:
    """The feeds of a plan at a glance, for a list."""
    base, marks, name = 34.0, marks_of(plan), f"small-{key}"
    axis = axis_for(8, SMALL - 8, marks, [third])
    scale = 28.0 / tallest(marks)
    body = [
        *ground(axis, third, 6, base, base - 4),
        *(stack(m.ammonium, m.amino, axis.x(m.hours), base, scale, f"{name}-hatch", 10)
          for m in marks),
        axis.labels(base + 16),
    ]  # fmt: skip
    feeds = join("; ", (join(" ", (m.name, clock(m.hours))) for m in marks)) or say("none")
    title = say("Feeds: {feeds}", feeds=feeds)
    return picture(SMALL, base + 22, title, body, name, "small")
