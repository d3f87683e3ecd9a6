"""What will the gravity do: middle lines and bands of forecasts on one time axis."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from mustwright.languages import here
from mustwright.must.gravity_text import gravity_text
from mustwright.planning.days_text import LOOKED_DAYS
from mustwright.planning.hours_text import clock
from mustwright.planning.outcome import Outcome
from mustwright.texts import join, listed, say
from mustwright.web.pictures.fewer_points import needed_points
from mustwright.web.pictures.frame import Frame, Scale, TimeAxis, shared_labels
from mustwright.web.pictures.svg import curve as drawn_curve
from mustwright.web.pictures.svg import dot, fan, line, picture, text

LINE = 17.0
GRAVITY_STEPS = (0.005, 0.01, 0.02, 0.05)
LONGEST_DAYS, SHORTEST_DAYS = 28.0, 5.0
SPOKEN = 3
STYLES = 8  # classes c0 to c7 of the style sheet: colour and dash both differ


@dataclass(frozen=True)
class Curve:
    """One forecast to draw.

    Parameters
    ----------
    style : int or None
        0 to 4; None for a thin grey line.
    bands : int
        1 draws nine runs in ten, 2 also the middle half.
    key : str
        By which a page brings it forward.
    """

    name: str
    outcome: Outcome
    style: int | None = 0
    bands: int = 0
    key: str = ""


@dataclass(frozen=True)
class Layout:
    """Where things stand in a picture.

    Parameters
    ----------
    names_right : bool
        Whether there is room for names beside the ends of the lines.
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
    frame = Frame(axis, gravity_scale(curves, dry, axis.end_h, bottom, top))
    body = [axis.grid(top - 4, bottom), *frame.gravity_ticks(GRAVITY_STEPS, 8)]
    drawn = [drawn_forecast(curve, frame) for curve in reversed(curves)]
    body += [band for bands, _ in drawn for band in bands]
    body += frame.level(
        dry, say("dry, {gravity_text}", gravity_text=gravity_text(dry)), "t soft halo"
    )
    body += [middle for _, middle in drawn]
    if len(curves) == 1:
        body += _feeds(curves[0].outcome, frame)
    height = layout.height
    if layout.days:
        body.append(axis.labels(layout.height - 6))
    if len(curves) > 1:
        body += _names_below(curves, layout)
        height += LINE * len([c for c in curves if c.style is not None]) + LINE + 6
    return picture(
        layout.width, height, spoken_title(curves), body, key, layout.kind, frame.axis_words
    )


def gravity_scale(
    curves: Sequence[Curve], dry: float, end_h: float, bottom: float, top: float
) -> Scale:
    """A scale that holds every line and band drawn."""
    lows, highs = [dry], [dry]
    for curve in curves:
        g, shown = curve.outcome.gravity, bisect_right(curve.outcome.times_h, end_h)
        under, over = (g.p05, g.p95) if curve.bands else (g.p50, g.p50)
        lows += under[:shown].tolist()
        highs += over[:shown].tolist()
    return Scale(min(lows) - 0.002, max(highs) + 0.001, bottom, top)


def style_class(curve: Curve) -> str:
    """Its class in the style sheet: colour and dash."""
    return "other" if curve.style is None else f"c{curve.style}"


def drawn_forecast(curve: Curve, frame: Frame, kind: str = "") -> tuple[list[str], str]:
    """The bands of a forecast, and its middle line, whose class may be named."""
    g, times = curve.outcome.gravity, curve.outcome.times_h
    shown, style = frame.shown(times), style_class(curve)
    pairs = ((g.p95, g.p05), (g.p75, g.p25))[: curve.bands]
    rows = [row[:shown] for row in (g.p50, *(end for pair in pairs for end in pair))]
    kept = needed_points(times[:shown], rows, frame.up.px_per_unit)
    hours = frame.across.along(np.array(times)[kept])
    middle, *ends = (frame.up.along(row[kept]) for row in rows)
    pairs_drawn = zip(ends[::2], ends[1::2], strict=True)
    bands = [fan(hours, high, low, style) for high, low in pairs_drawn]
    return bands, drawn_curve(hours, middle, kind or style, curve.key)


def _feeds(outcome: Outcome, frame: Frame) -> list[str]:
    """A dot on the middle line for each feed, numbered; those that meet share their numbers."""
    hours = {
        k: feed.p50 for k, feed in enumerate(outcome.feeds_h, 1) if feed.p50 <= frame.across.high
    }
    order = sorted(hours, key=lambda k: hours[k])
    drawn = []
    for x, which in shared_labels((frame.across.at(hours[k]), k) for k in order):
        y = frame.up.at(gravity_at(outcome, hours[which[0]]))
        words = say("feed {numbers}", numbers=listed(map(str, which)))
        drawn += [dot(x, y, "dot"), text(x + 9, y - 4, words, "t soft halo")]
    return drawn


def gravity_at(outcome: Outcome, hours: float) -> float:
    """The middle gravity at an hour."""
    times, middle = outcome.times_h, outcome.gravity.p50
    k = min(max(sum(t <= hours for t in times), 1), len(times) - 1)
    part = (hours - times[k - 1]) / (times[k] - times[k - 1])
    return float(middle[k - 1] + min(part, 1.0) * (middle[k] - middle[k - 1]))


def _names_below(curves: Sequence[Curve], layout: Layout) -> list[str]:
    drawn = []
    named = [c for c in curves if c.style is not None]
    longest = 46 if layout.kind == "narrow" else 100
    for k, curve in enumerate(named, 1):
        y = layout.height + LINE * k
        drawn.append(line(8, y - 4, 36, y - 4, f"curve {style_class(curve)}"))
        drawn.append(text(44, y, _cut(curve.name, longest), "t"))
    if len(named) < len(curves):
        y = layout.height + LINE * (len(named) + 1)
        drawn.append(line(8, y - 4, 36, y - 4, "curve other"))
        drawn.append(text(44, y, say("the others"), "t soft"))
    return drawn


def _cut(name: str, longest: int) -> str:
    name = here(name)
    return name if len(name) <= longest else name[: longest - 1].rstrip() + "…"


def spoken_title(curves: Sequence[Curve]) -> str:
    """What those hear who do not see the lines; of many, the first and how many more."""
    if len(curves) > SPOKEN:
        more = len(curves) - 1
        return say(
            "{spoken_title}, and {more} more; the table beneath has them all",
            spoken_title=spoken_title(curves[:1]),
            more=more,
        )
    dry = (say("{name} dry after {days}", name=c.name, days=_dry_words(c.outcome)) for c in curves)
    return say("Gravity as forecast: {curves}", curves=join("; ", dry))


def _dry_words(outcome: Outcome) -> str:
    days = outcome.days_to_dry
    if not math.isfinite(days.value):
        return say("more than {days} days, if at all", days=LOOKED_DAYS)
    return say("about {clock}", clock=clock(24 * days.value))
