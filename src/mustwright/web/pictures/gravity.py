"""What will the gravity do: middle lines and bands of forecasts on one time axis."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from mustwright.planning.outcome import Outcome
from mustwright.web.pages.figures import clock, number
from mustwright.web.pictures.frame import Frame, Scale, TimeAxis, shared_labels
from mustwright.web.pictures.svg import curve as drawn_curve
from mustwright.web.pictures.svg import dot, fan, line, picture, text, wrapped

LINE = 17.0
LETTERS = 34
GRAVITY_STEPS = (0.005, 0.01, 0.02, 0.05)
LONGEST_DAYS, SHORTEST_DAYS = 28.0, 5.0
STYLES = 5  # classes c0 to c4 of the style sheet: colour and dash both differ


@dataclass(frozen=True)
class Curve:
    """One forecast to draw.

    Parameters
    ----------
    style : int or None
        0 to 4; None for a thin grey line, named only where there is room.
    bands : int
        1 draws nine runs in ten, 2 also the middle half.
    """

    name: str
    outcome: Outcome
    style: int | None = 0
    bands: int = 0


@dataclass(frozen=True)
class Layout:
    """Where things stand in a picture.

    Parameters
    ----------
    names_right : bool
        Names at the ends of the lines; else a list below, when there are several.
    days : bool
        Whether the days are named here.
    """

    width: float
    height: float
    kind: str
    names_right: bool = False
    days: bool = True


ALONE = Layout(920.0, 300.0, "wide")
ALONE_NARROW = Layout(340.0, 230.0, "narrow")
ALONE_SPAN, ALONE_NARROW_SPAN = (52.0, 912.0), (46.0, 332.0)
BESIDE = Layout(1000.0, 290.0, "wide", names_right=True, days=False)
BESIDE_NARROW = Layout(344.0, 230.0, "narrow", days=False)


def hours_to_show(outcome: Outcome, whole_band: bool = False) -> float:
    """How much of a forecast is worth drawing [h]: past dryness, at most four weeks."""
    days = outcome.days_to_dry
    wanted = 1.5 * days.value
    if whole_band and days.high is not None:
        wanted = max(1.3 * days.value, min(days.high, LONGEST_DAYS))
    return 24 * min(max(wanted, SHORTEST_DAYS), LONGEST_DAYS)


def alone(curves: Sequence[Curve], dry: float, key: str, narrow: bool = False) -> Markup:
    """A picture by itself: the forecast of a plan, or of two ways to go on."""
    hours = max(hours_to_show(curve.outcome, True) for curve in curves)
    span = ALONE_NARROW_SPAN if narrow else ALONE_SPAN
    axis = TimeAxis.to_hold(*span, [hours])
    return gravity_picture(curves, dry, axis, ALONE_NARROW if narrow else ALONE, key)


def gravity_picture(
    curves: Sequence[Curve], dry: float, axis: TimeAxis, layout: Layout, key: str
) -> Markup:
    """Gravity against time; the first curve is the one that matters most."""
    top, bottom = 24.0, layout.height - (24.0 if layout.days else 8.0)
    frame = Frame(axis, _scale(curves, dry, axis.end_h, bottom, top))
    body = [axis.grid(top - 4, bottom), *frame.ticks("gravity", GRAVITY_STEPS, 8, ".3f")]
    drawn = [_drawn(curve, frame) for curve in reversed(curves)]
    body += [band for bands, _ in drawn for band in bands]
    body += frame.level(dry, f"dry, {dry:.3f}", "t soft halo")
    body += [middle for _, middle in drawn]
    if len(curves) == 1:
        body += _feeds(curves[0].outcome, frame)
    height = layout.height
    if layout.days:
        body.append(axis.labels(layout.height - 6))
    if layout.names_right:
        body += _names_right(curves, frame)
    elif len(curves) > 1:
        body += _names_below(curves, layout)
        height += LINE * len([c for c in curves if c.style is not None]) + LINE + 6
    return picture(layout.width, height, _title(curves), body, key, layout.kind)


def _scale(curves: Sequence[Curve], dry: float, end_h: float, bottom: float, top: float) -> Scale:
    """A scale that holds every line and band drawn."""
    lows, highs = [dry], [dry]
    for curve in curves:
        g, shown = curve.outcome.gravity, bisect_right(curve.outcome.times_h, end_h)
        under, over = (g.p05, g.p95) if curve.bands else (g.p50, g.p50)
        lows += under[:shown].tolist()
        highs += over[:shown].tolist()
    return Scale(min(lows) - 0.002, max(highs) + 0.001, bottom, top)


def _class(curve: Curve) -> str:
    return "other" if curve.style is None else f"c{curve.style}"


def _drawn(curve: Curve, frame: Frame) -> tuple[list[str], str]:
    """The bands of a forecast, and its middle line."""
    g, times = curve.outcome.gravity, curve.outcome.times_h
    shown, style = frame.shown(times), _class(curve)
    hours = frame.across.along(times[:shown])

    def up(values: Any) -> list[str]:
        return frame.up.along(values[:shown])

    pairs = ((g.p95, g.p05), (g.p75, g.p25))[: curve.bands]
    bands = [fan(hours, up(high), up(low), style) for high, low in pairs]
    return bands, drawn_curve(hours, up(g.p50), style)


def _feeds(outcome: Outcome, frame: Frame) -> list[str]:
    """A dot on the middle line for each feed, numbered; those that meet share their numbers."""
    hours = {
        k: feed.p50 for k, feed in enumerate(outcome.feeds_h, 1) if feed.p50 <= frame.across.high
    }
    order = sorted(hours, key=lambda k: hours[k])
    drawn = []
    for x, which in shared_labels((frame.across.at(hours[k]), k) for k in order):
        y = frame.up.at(_between(outcome, hours[which[0]]))
        words = f"feed {' and '.join(map(str, which))}"
        drawn += [dot(x, y, "dot"), text(x + 9, y - 4, words, "t soft halo")]
    return drawn


def _between(outcome: Outcome, hours: float) -> float:
    """The middle gravity at an hour."""
    times, middle = outcome.times_h, outcome.gravity.p50
    k = min(max(sum(t <= hours for t in times), 1), len(times) - 1)
    part = (hours - times[k - 1]) / (times[k] - times[k - 1])
    return float(middle[k - 1] + min(part, 1.0) * (middle[k] - middle[k - 1]))


def _names_right(curves: Sequence[Curve], frame: Frame) -> list[str]:
    """Names beside the ends of their lines, moved apart; grey ones only where there is room."""
    right = frame.across.end
    left = right + 14
    places = _placed([c for c in curves if c.style is not None], frame)
    drawn = []
    for curve, end, y in places:
        drawn.append(line(right + 1, end, left, y, "leader"))
        drawn.append(line(left + 2, y, left + 30, y, f"curve {_class(curve)}"))
        for k, words in enumerate(wrapped(curve.name, LETTERS)):
            drawn.append(text(left + 38, y + 4 + LINE * k, words, "t"))
    taken = [y + LINE * k for c, _, y in places for k in range(len(wrapped(c.name, LETTERS)))]
    for curve in curves:
        end = _end(curve, frame)
        if curve.style is None and all(abs(end - y) >= 15 for y in taken):
            taken.append(end)
            drawn.append(text(left, end + 4, _cut(curve.name, 44), "t soft"))
    return drawn


def _end(curve: Curve, frame: Frame) -> float:
    """Where its middle line leaves the picture."""
    return frame.up.at(_between(curve.outcome, frame.across.high))


def _placed(curves: Sequence[Curve], frame: Frame) -> list[tuple[Curve, float, float]]:
    """Curves with the height of their end and of their name, the quickest lowest."""
    at = {id(c): _end(c, frame) for c in curves}
    order = sorted(curves, key=lambda c: (at[id(c)] // 6, -c.outcome.days_to_dry.value))
    deep = [LINE * len(wrapped(curve.name, LETTERS)) for curve in order]
    heights: list[float] = []
    for k, curve in enumerate(order):
        heights.append(max(at[id(curve)], heights[k - 1] + deep[k - 1] if k else frame.up.end))
    floor = frame.up.start + LINE
    for k in reversed(range(len(heights))):
        heights[k] = min(heights[k], floor - deep[k])
        floor = heights[k]
    return [(c, at[id(c)], y) for c, y in zip(order, heights, strict=True)]


def _names_below(curves: Sequence[Curve], layout: Layout) -> list[str]:
    drawn = []
    named = [c for c in curves if c.style is not None]
    longest = 46 if layout.kind == "narrow" else 100
    for k, curve in enumerate(named, 1):
        y = layout.height + LINE * k
        drawn.append(line(8, y - 4, 36, y - 4, f"curve {_class(curve)}"))
        drawn.append(text(44, y, _cut(curve.name, longest), "t"))
    if len(named) < len(curves):
        y = layout.height + LINE * (len(named) + 1)
        drawn.append(line(8, y - 4, 36, y - 4, "curve other"))
        drawn.append(text(44, y, "the others", "t soft"))
    return drawn


def _cut(name: str, longest: int) -> str:
    return name if len(name) <= longest else name[: longest - 1].rstrip() + "…"


def _title(curves: Sequence[Curve]) -> str:
    return "Gravity as forecast: " + "; ".join(
        f"{c.name} dry after {_dry_words(c.outcome)}" for c in curves
    )


def _dry_words(outcome: Outcome) -> str:
    days = outcome.days_to_dry
    if not math.isfinite(days.value):
        return f"more than {number(days.value, 'days').rstrip('+')} days, if at all"
    return f"about {clock(24 * days.value)}"
