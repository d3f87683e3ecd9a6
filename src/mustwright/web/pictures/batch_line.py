"""How did it go and how will it go: readings, forecast and feeds of a batch on one time axis."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from markupsafe import Markup

from mustwright.batch.log_text import FEED_STATES
from mustwright.batch.outlook import GravityBand
from mustwright.batch.series import Series, digest_of_rows
from mustwright.languages import here
from mustwright.must.course import Floats
from mustwright.must.gravity_text import gravity_span, gravity_text
from mustwright.planning.hours_text import clock
from mustwright.texts import join, say
from mustwright.web.pictures.feed_line import Mark, tallest
from mustwright.web.pictures.frame import Frame, Scale, TimeAxis, label_rows, shared_labels
from mustwright.web.pictures.gravity import GRAVITY_STEPS
from mustwright.web.pictures.nitrogen import stack
from mustwright.web.pictures.svg import Canvas, curve, element, fan, line, near, rect, text, trail
from mustwright.web.pictures.values import ValueTable

TOP, BOTTOM, WARMTH = 30.0, 250.0, 58.0
TALLEST = 40.0
FEEDS = TALLEST + 18  # how far below what is above them feeds stand
MOST_BARS, MOST_POINTS = 60, 140
MOST_READ, AHEAD_STEP = 16, 5  # lines of the table behind it


@dataclass(frozen=True)
class FeedMark(Mark):
    """A feed given or due, by its number in the plan."""

    number: int
    state: str


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

    def but_now(self) -> tuple[object, ...]:
        """All that the pictures show but the present moment: where it is the same, so are they."""
        band, axis = self.band, _axis(self, Canvas("batch"))
        ahead = () if band is None else (band.hours, band.low, band.expected, band.high)
        rows = digest_of_rows((self.points.at_us, self.points.values, *self.warmth, *ahead))
        return (
            rows, len(ahead), tuple(self.feeds), tuple(self.signs), self.warmth_range,
            self.warmth_words, axis.end_h, self.start_gravity, self.dry_gravity,
        )  # fmt: skip


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
            else tuple(scale.along(r) for r in (band.high, band.low, band.expected)),
            shown,
            scale.along(scene.points.gravity[shown]),
            warm,
            shown_warmth,
            [] if warm is None else warm.along(scene.warmth[1][shown_warmth]),
        )


def batch_lines(scene: Scene, now: Sequence[str] | None = None) -> tuple[Markup, Markup]:
    """The wide picture and the narrow one.

    Gravity above; temperature, then feeds given and due, beneath on the same axis.

    Parameters
    ----------
    now : sequence of str or None
        What is written in the place of the present moment in each; None draws it.
    """
    heights = _Heights.of(scene)
    wide, narrow = now or now_lines(scene)
    return _picture(scene, heights, False, wide), _picture(scene, heights, True, narrow)


def now_lines(scene: Scene) -> tuple[str, str]:
    """The present moment, as the wide picture draws it and as the narrow one does."""
    wide, narrow = (_now(scene, Canvas("batch", narrow)) for narrow in (False, True))
    return wide, narrow


def _now(scene: Scene, canvas: Canvas) -> str:
    axis = _axis(scene, canvas)
    base = BOTTOM + 8 + (0.0 if _warm_scale(scene) is None else WARMTH)
    if _shown_feeds(scene.feeds, axis):
        base += FEEDS
    return axis.now(scene.now_h, TOP - 10, base, canvas.width)


def _axis(scene: Scene, canvas: Canvas) -> TimeAxis:
    return TimeAxis.to_hold(48.0, canvas.width - 8, [scene.end_h])


def batch_values(scene: Scene) -> ValueTable:
    """What stands behind that picture: the readings, then the forecast."""
    rows: list[tuple[float, str, tuple[str, ...]]] = []
    count = len(scene.points)
    step = max(math.ceil(count / MOST_READ), 1)
    for one in scene.points.take([*range(0, count - 1, step), *range(count)[-1:]]):
        hours = max(float(one.hours), 0.0)
        rows.append((hours, clock(hours), (gravity_text(one.gravity), "", "")))
    band = scene.band
    for k in range(0, len(band.hours), AHEAD_STEP) if band is not None else ():
        assert band is not None
        span = gravity_span(band.low[k], band.high[k])
        rows.append(
            (band.hours[k], clock(band.hours[k]), ("", gravity_text(band.expected[k]), span))
        )
    return ValueTable((say("as read"), say("forecast"), say("nine in ten")), tuple(rows))


def _picture(scene: Scene, heights: _Heights, narrow: bool, now: str) -> Markup:
    canvas = Canvas("batch", narrow)
    axis = _axis(scene, canvas)
    frame = Frame(axis, heights.scale)
    body = [
        *frame.gravity_ticks(GRAVITY_STEPS, 7),
        axis.grid(TOP - 4, BOTTOM),
        *frame.level(
            scene.dry_gravity,
            say("dry, {gravity_text}", gravity_text=gravity_text(scene.dry_gravity)),
            "t soft halo",
        ),
        *_forecast(scene, frame, heights),
        *_readings(scene.points, frame, heights),
        *_signs(scene.signs, axis, BOTTOM),
    ]
    depth = BOTTOM + 8
    if heights.warm_scale is not None:
        body += _warmth(scene, axis, heights, heights.warm_scale)
        depth += WARMTH
    feeds, depth = _feeds(scene.feeds, axis, depth, canvas)
    body += [now, *feeds]
    body.append(axis.labels(depth + 16))
    return canvas.picture(depth + 22, heights.title, body, frame.axis_words)


def _gravity_scale(scene: Scene) -> Scale:
    values = [scene.dry_gravity, scene.start_gravity]
    if scene.points:
        values += [float(scene.points.gravity.min()), float(scene.points.gravity.max())]
    if scene.band is not None:
        values += [*scene.band.low, *scene.band.high]
    return Scale(min(values) - 0.003, max(values) + 0.003, BOTTOM, TOP)


def _warm_scale(scene: Scene) -> Scale | None:
    """For temperatures, if there is more than one."""
    values = scene.warmth[1]
    if len(values) < 2:
        return None
    low, high = scene.warmth_range
    coldest, hottest = min(low, float(values.min())), max(high, float(values.max()))
    return Scale(coldest - 0.5, hottest + 0.5, BOTTOM + WARMTH, BOTTOM + 14)


def _forecast(scene: Scene, frame: Frame, heights: _Heights) -> list[str]:
    if scene.band is None:
        return []
    shown = frame.shown(scene.band.hours)
    hours = frame.across.along(scene.band.hours[:shown])
    high, low, middle = (row[:shown] for row in heights.band)
    return [fan(hours, high, low, "c0"), curve(hours, middle, "c0")]


def _readings(points: Series, frame: Frame, heights: _Heights) -> list[str]:
    """A line through the readings and a dot for each, with two standard errors either way."""
    shown = heights.shown
    hours = frame.across.along(points.hours[shown])
    drawn = [curve(hours, heights.read, "read")] if len(shown) > 1 else []
    if len(shown) > MOST_BARS:  # a device's: too close together for a bar each
        dots = f"M{'h0M'.join(trail(hours, heights.read))}h0"
        return [*drawn, element("path", d=dots, class_="dots")]
    every = points.take(shown)
    return [*drawn, *(frame.reading(one.hours, one.gravity, one.gravity_sd) for one in every)]


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
        drawn.append(
            element("path", element("title", escape(here(sign.words))), d=path, class_="fed")
        )
    return drawn


def _warmth(scene: Scene, axis: TimeAxis, heights: _Heights, scale: Scale) -> list[str]:
    """Must temperature over the range that the yeast likes."""
    bottom, above = (scale.at(t) for t in scene.warmth_range)
    hours = scene.warmth[0][heights.shown_warmth]
    return [
        rect(axis.start, above, axis.end - axis.start, bottom - above, "band"),
        text(axis.start - 6, above + 9, scene.warmth_words[1], "t tick", "end"),
        text(axis.start - 6, bottom, scene.warmth_words[0], "t tick", "end"),
        curve(axis.along(hours), heights.warmth, "warmth"),
    ]


def _shown_feeds(feeds: Sequence[FeedMark], axis: TimeAxis) -> list[FeedMark]:
    return [f for f in feeds if f.hours <= axis.end_h and f.state != "dropped"]


def _feeds(
    feeds: Sequence[FeedMark], axis: TimeAxis, top: float, canvas: Canvas
) -> tuple[list[str], float]:
    """Stacks for feeds: solid when given, an outline with its range when due."""
    shown = _shown_feeds(feeds, axis)
    if not shown:
        return [], top
    base = top + FEEDS
    scale = TALLEST / tallest(shown)
    drawn = [line(axis.start, base, axis.end, base, "spine")]
    order = sorted(shown, key=lambda f: f.hours)
    groups = shared_labels((axis.x(f.hours), f.number) for f in order)
    rows = label_rows([x for x, _ in groups], 52.0 if canvas.narrow else 60.0)
    for feed in shown:
        drawn.append(_stack(feed, axis.x(feed.hours), base, scale, canvas.hatch))
        if feed.state == "ahead":
            drawn.append(axis.spread(feed.low, feed.high, base + 8))
    for (x, members), row in zip(groups, rows, strict=True):
        y = base + 26 + 15 * row
        drawn.append(line(x, base + 4, x, y - 11, "leader"))
        drawn.append(
            near(
                x, y, say("feed {numbers}", numbers="+".join(map(str, members))), canvas.width, "t"
            )
        )
    return drawn, base + 30 + 15 * max(rows, default=0)


def _stack(feed: FeedMark, x: float, base: float, scale: float, hatch: str) -> str:
    if feed.state == "given":
        return stack(feed.ammonium, feed.amino, x, base, scale, hatch, 14)
    tall, left = max(feed.total * scale, 6.0), x - 7
    drawn = rect(left, base - tall, 14, tall, "due")
    if feed.state == "skipped":
        drawn += line(left, base - tall, left + 14, base, "whisker")
    return drawn + line(x, base - 4, x, base + 4, "stem")


def _title(scene: Scene) -> str:
    parts = []
    if scene.points:
        last = scene.points[-1]
        parts.append(
            say(
                "{points} readings, the last {gravity_text} {clock} after pitch",
                points=len(scene.points),
                gravity_text=gravity_text(last.gravity),
                clock=clock(max(last.hours, 0)),
            )
        )
    else:
        parts.append(say("No reading yet"))
    if scene.band is not None:
        i = len(scene.band.hours) - 1
        parts.append(
            say(
                "forecast {clock} after pitch {gravity_text}, between {gravity_span}",
                clock=clock(scene.band.hours[i]),
                gravity_text=gravity_text(scene.band.expected[i]),
                gravity_span=gravity_span(
                    scene.band.low[i], scene.band.high[i], between=say(" and ")
                ),
            )
        )
    parts += [
        say(
            "feed {number} {name}: {state}, {clock}",
            number=f.number,
            name=f.name,
            state=FEED_STATES[f.state],
            clock=clock(max(f.hours, 0)),
        )
        for f in scene.feeds
    ]
    return say("The batch on the line of time: {parts}.", parts=join("; ", parts))
