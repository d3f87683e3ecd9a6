"""How did it go and how will it go: readings, forecast and feeds of a batch on one time axis."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from markupsafe import Markup

from mustwright.batch.outlook import GravityBand
from mustwright.batch.series import Series
from mustwright.must.course import Floats
from mustwright.web.pages.figures import clock
from mustwright.web.pictures.feed_line import label_rows, near
from mustwright.web.pictures.polyline import Scale, across, trail, up
from mustwright.web.pictures.svg import TimeAxis, element, line, picture, rect, text, whisker

WIDE, NARROW = 920.0, 340.0
TOP, BOTTOM, WARMTH = 30.0, 250.0, 58.0
TALLEST = 40.0
MOST_BARS, MOST_POINTS = 60, 140
TWO_SD = 2.0


@dataclass(frozen=True)
class FeedMark:
    """A feed given or due, as the picture needs it [h after pitch, mg N/L]."""

    number: int
    name: str
    state: str
    hours: float
    low: float | None
    high: float | None
    ammonium: float
    amino: float


@dataclass(frozen=True)
class Sign:
    """Something that happened [h after pitch]."""

    hours: float
    words: str


@dataclass(frozen=True)
class Scene:
    """All that the picture shows.

    Parameters
    ----------
    band : GravityBand or None
        Forecast of gravity from the last reading on; None when the batch is closed.
    now_h : float
        Hours after pitch.
    warmth, warmth_range, warmth_words
        Must temperatures [h, °C], the range the yeast likes [°C], and its ends in words.
    """

    points: Series
    band: GravityBand | None
    feeds: Sequence[FeedMark]
    signs: Sequence[Sign]
    warmth: tuple[Floats, Floats]
    warmth_range: tuple[float, float]
    warmth_words: tuple[str, ...]
    now_h: float
    end_h: float
    start_gravity: float
    dry_gravity: float


@dataclass(frozen=True)
class _Heights:
    """What the two pictures of a scene share.

    Parameters
    ----------
    band : tuple of sequence of str
        Heights of the highest, the lowest and the expected gravity; none without a forecast.
    shown, shown_warmth : list of int
        Places of the readings and temperatures that are drawn.
    read, warmth : list of str
        Heights of those.
    """

    title: str
    scale: Scale
    band: tuple[list[str], ...]
    shown: list[int]
    read: list[str]
    warm_scale: Scale | None
    shown_warmth: list[int]
    warmth: list[str]

    @classmethod
    def of(cls, scene: Scene) -> _Heights:
        """Worked out once."""
        scale, warm, band = _gravity_scale(scene), _warm_scale(scene), scene.band
        shown, shown_warmth = thinned(len(scene.points)), thinned(len(scene.warmth[1]))
        return cls(
            _title(scene),
            scale,
            ()
            if band is None
            else tuple(up(scale, r) for r in (band.high, band.low, band.expected)),
            shown,
            up(scale, scene.points.gravity[shown]),
            warm,
            shown_warmth,
            [] if warm is None else up(warm, scene.warmth[1][shown_warmth]),
        )


def batch_lines(scene: Scene) -> tuple[Markup, Markup]:
    """The wide picture and the narrow one.

    Gravity above; temperature, then feeds given and due, beneath on the same axis.
    """
    heights = _Heights.of(scene)
    return _picture(scene, heights, WIDE, "wide"), _picture(scene, heights, NARROW, "narrow")


def _picture(scene: Scene, heights: _Heights, width: float, kind: str) -> Markup:
    axis, name = TimeAxis.to_hold(48.0, width - 8, [scene.end_h]), f"batch-{kind}"
    scale = heights.scale
    body = [*_ticks(scale, axis), axis.grid(TOP - 4, BOTTOM)]
    body += [_dry(scene, axis, scale), *_forecast(scene, axis, heights)]
    body += _readings(scene.points, axis, heights)
    body += _signs(scene.signs, axis, BOTTOM)
    depth = BOTTOM + 8
    if heights.warm_scale is not None:
        body += _warmth(scene, axis, heights, heights.warm_scale)
        depth += WARMTH
    feeds, base, depth = _feeds(scene.feeds, axis, depth, width, f"{name}-hatch")
    body += [_now(scene.now_h, axis, TOP - 10, base, width), *feeds]
    body.append(axis.labels(depth + 16))
    return picture(width, depth + 22, heights.title, body, name, kind)


def _gravity_scale(scene: Scene) -> Scale:
    values = [scene.dry_gravity, scene.start_gravity]
    if scene.points:
        values += [float(scene.points.gravity.min()), float(scene.points.gravity.max())]
    if scene.band is not None:
        values += [*scene.band.low, *scene.band.high]
    return Scale(min(values) - 0.003, max(values) + 0.003, TOP, BOTTOM)


def _warm_scale(scene: Scene) -> Scale | None:
    """For temperatures, if there is more than one."""
    values = scene.warmth[1]
    if len(values) < 2:
        return None
    low, high = scene.warmth_range
    coldest, hottest = min(low, float(values.min())), max(high, float(values.max()))
    return Scale(coldest - 0.5, hottest + 0.5, BOTTOM + 14, BOTTOM + WARMTH)


def _ticks(scale: Scale, axis: TimeAxis) -> list[str]:
    reach = scale.high - scale.low
    step = next(s for s in (0.005, 0.01, 0.02, 0.05) if reach / s <= 7)
    drawn = [text(0, 14, "gravity", "t tick")]
    for k in range(math.ceil(scale.low / step), math.floor(scale.high / step) + 1):
        y = scale.y(k * step)
        drawn.append(line(axis.left, y, axis.right, y, "grid"))
        drawn.append(text(axis.left - 6, y + 4, f"{k * step:.3f}", "t tick", "end"))
    return drawn


def _dry(scene: Scene, axis: TimeAxis, scale: Scale) -> str:
    y = scale.y(scene.dry_gravity)
    words = text(axis.left + 4, y - 5, f"dry, {scene.dry_gravity:.3f}", "t soft halo")
    return line(axis.left, y, axis.right, y, "dry") + words


def _forecast(scene: Scene, axis: TimeAxis, heights: _Heights) -> list[str]:
    band = scene.band
    if band is None:
        return []
    shown = bisect_right(band.hours, axis.end_h)
    hours = across(axis, band.hours[:shown])
    there, back, middle = (trail(hours, row[:shown]) for row in heights.band)
    return [
        element("path", d="M" + "L".join([*there, *back[::-1]]) + "Z", class_="fan c0"),
        element("path", d="M" + "L".join(middle), class_="curve c0"),
    ]


def _readings(points: Series, axis: TimeAxis, heights: _Heights) -> list[str]:
    """A line through the readings and a dot for each, with two standard errors either way."""
    shown, scale = heights.shown, heights.scale
    places = trail(across(axis, points.hours[shown]), heights.read)
    drawn = []
    if len(places) > 1:
        drawn.append(element("path", d="M" + "L".join(places), class_="curve read"))
    if len(places) > MOST_BARS:  # a device's: too close together for a bar each
        dots = f"M{'h0M'.join(places)}h0"
        return [*drawn, element("path", d=dots, class_="dots")]
    for point in points.take(shown):
        x, y = axis.x(point.hours), scale.y(point.gravity)
        reach = TWO_SD * point.gravity_sd
        high, low = scale.y(point.gravity + reach), scale.y(point.gravity - reach)
        drawn.append(line(x, high, x, low, "error"))
        drawn.append(element("circle", cx=x, cy=y, r=4, class_="dot read"))
    return drawn


def thinned(count: int) -> list[int]:
    """Places of every n-th, so that at most `MOST_POINTS` are drawn; the first and last stay."""
    step = max(math.ceil(count / MOST_POINTS), 1)
    places = range(count)
    return [*places[:1], *places[1:-1][step - 1 :: step], *places[1:][-1:]]


def _signs(signs: Sequence[Sign], axis: TimeAxis, base: float) -> list[str]:
    drawn = []
    for sign in signs:
        x = axis.x(max(sign.hours, 0.0))
        path = f"M{x - 4:.1f} {base}L{x:.1f} {base - 8}L{x + 4:.1f} {base}Z"
        drawn.append(element("path", element("title", escape(sign.words)), d=path, class_="fed"))
    return drawn


def _warmth(scene: Scene, axis: TimeAxis, heights: _Heights, scale: Scale) -> list[str]:
    """Must temperature over the range that the yeast likes."""
    bottom, above = (scale.y(t) for t in scene.warmth_range)
    hours = scene.warmth[0][heights.shown_warmth]
    path = "M" + "L".join(trail(across(axis, hours), heights.warmth))
    return [
        rect(axis.left, above, axis.right - axis.left, bottom - above, "band"),
        text(axis.left - 6, above + 9, scene.warmth_words[1], "t tick", "end"),
        text(axis.left - 6, bottom, scene.warmth_words[0], "t tick", "end"),
        element("path", d=path, class_="curve warmth"),
    ]


def _feeds(
    feeds: Sequence[FeedMark], axis: TimeAxis, top: float, width: float, hatch: str
) -> tuple[list[str], float, float]:
    """Stacks for feeds: solid when given, an outline with its range when due."""
    shown = [f for f in feeds if f.hours <= axis.end_h and f.state != "dropped"]
    if not shown:
        return [], top, top
    base = top + TALLEST + 18
    tallest = max([f.ammonium + f.amino for f in shown] + [1e-9])
    scale = TALLEST / tallest
    drawn = [line(axis.left, base, axis.right, base, "spine")]
    narrow = width < 400
    groups = _grouped(shown, axis)
    rows = label_rows([x for x, _ in groups], 52.0 if narrow else 60.0)
    for feed in shown:
        drawn.append(_stack(feed, axis.x(max(feed.hours, 0.0)), base, scale, hatch))
        if feed.state == "ahead" and feed.low is not None and feed.high is not None:
            low, high = axis.x(feed.low), _unclipped(axis, feed.high)
            drawn.append(whisker(low, max(high, low), base + 8, axis.right))
    for (x, members), row in zip(groups, rows, strict=True):
        y = base + 26 + 15 * row
        drawn.append(line(x, base + 4, x, y - 11, "leader"))
        drawn.append(near(x, y, f"feed {'+'.join(str(m) for m in members)}", width, "t"))
    return drawn, base, base + 30 + 15 * max(rows, default=0)


def _grouped(feeds: Sequence[FeedMark], axis: TimeAxis) -> list[tuple[float, list[int]]]:
    """Feeds at the same place share a label."""
    groups: list[tuple[float, list[int]]] = []
    for feed in sorted(feeds, key=lambda f: f.hours):
        x = axis.x(max(feed.hours, 0.0))
        if groups and x - groups[-1][0] < 14:
            groups[-1][1].append(feed.number)
        else:
            groups.append((x, [feed.number]))
    return groups


def _stack(feed: FeedMark, x: float, base: float, scale: float, hatch: str) -> str:
    low, high = feed.ammonium * scale, feed.amino * scale
    left = x - 7
    stem = line(x, base - 4, x, base + 4, "stem")
    if feed.state == "given":
        drawn = rect(left, base - low, 14, low, "ammonium") if low > 0 else ""
        if high > 0:
            drawn += rect(left, base - low - high, 14, high, "amino", hatch)
        return drawn + stem
    tall = max(low + high, 6.0)
    drawn = rect(left, base - tall, 14, tall, "due")
    if feed.state == "skipped":
        drawn += line(left, base - tall, left + 14, base, "whisker")
    return drawn + stem


def _unclipped(axis: TimeAxis, hours: float) -> float:
    return axis.left + hours / axis.end_h * (axis.right - axis.left)


def _now(hours: float, axis: TimeAxis, top: float, bottom: float, width: float) -> str:
    x = axis.x(hours)
    words = near(max(x, axis.left + 16), top - 3, "now", width, "t mark")
    return line(x, top, x, bottom, "break") + words


def _title(scene: Scene) -> str:
    parts = []
    if scene.points:
        last = scene.points[-1]
        parts.append(
            f"{len(scene.points)} readings, the last {last.gravity:.3f} {clock(max(last.hours, 0))}"
            " after pitch"
        )
    else:
        parts.append("No reading yet")
    if scene.band is not None:
        i = len(scene.band.hours) - 1
        parts.append(
            f"forecast {clock(scene.band.hours[i])} after pitch {scene.band.expected[i]:.3f}, "
            f"between {scene.band.low[i]:.3f} and {scene.band.high[i]:.3f}"
        )
    parts += [f"feed {f.number} {f.name}: {f.state}, {clock(max(f.hours, 0))}" for f in scene.feeds]
    return "The batch on the line of time: " + "; ".join(parts) + "."
