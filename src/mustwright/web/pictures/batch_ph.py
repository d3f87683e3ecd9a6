"""Where did the pH of a batch go and where will it go: its band and readings on a time axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from mustwright.batch.ph_forecast_record import PhForeseen, PhSeen
from mustwright.batch.ph_text import band_words, stall_words
from mustwright.must.acidity.claims import lowest_shown
from mustwright.web.pictures.feed_line import near
from mustwright.web.pictures.polyline import Scale, across, trail, up
from mustwright.web.pictures.svg import TimeAxis, element, line, picture, rect, text

WIDE, NARROW = 920.0, 340.0
TOP, PLOT, UNDER = 26.0, 130.0, 16.0
LEAST_TOP = 4.0
TWO_SD = 2.0


@dataclass(frozen=True)
class _Frame:
    axis: TimeAxis
    scale: Scale

    def y(self, ph: float) -> float:
        """Where a pH stands."""
        return self.scale.y(ph)


def batch_ph(ph: PhForeseen, now_h: float, end_h: float, narrow: bool = False) -> Markup:
    """The wide picture or the narrow one, up to an hour after pitch."""
    width, name = (NARROW, "ph-narrow") if narrow else (WIDE, "ph-wide")
    axis = TimeAxis.to_hold(48.0, width - 8, [end_h])
    shown = [i for i, h in enumerate(ph.times_h) if h <= axis.end_h]
    top = max([LEAST_TOP, *(ph.ph.p95[i] or 0.0 for i in shown), *(s.ph for s in ph.seen)])
    bottom = TOP + PLOT
    frame = _Frame(axis, Scale(lowest_shown(), top + 0.1, TOP, bottom))
    body = [*_ground(frame), *_band(ph, shown, frame)]
    floor = frame.y(ph.floor)
    body += [
        line(axis.left, floor, axis.right, floor, "dry"),
        text(axis.right - 4, floor - 5, f"floor {ph.floor:g}", "t halo", "end"),
    ]
    body += [_reading(one, frame) for one in ph.seen]
    x = axis.x(now_h)
    body += [
        line(x, TOP - 8, x, bottom + UNDER, "break"),
        near(max(x, axis.left + 16), TOP - 11, "now", width, "t mark"),
        axis.labels(bottom + UNDER + 16),
    ]
    title = (
        f"pH along the batch: {len(ph.seen)} reading{'s' if len(ph.seen) != 1 else ''}; now "
        f"{band_words(ph.now)}, lowest ahead {band_words(ph.lowest_ahead)}"
    )
    height = bottom + UNDER + 22
    return picture(width, height, title, body, name, "narrow" if narrow else "wide")


def _ground(frame: _Frame) -> list[str]:
    """The grid, and the strip below what is shown."""
    axis, bottom, highest = frame.axis, frame.scale.bottom, frame.scale.high
    drawn = [
        rect(axis.left, bottom, axis.right - axis.left, UNDER, "stall"),
        line(axis.left, bottom, axis.right, bottom, "stall-edge"),
        text(axis.right - 4, bottom + 12, stall_words(), "t halo", "end"),
        axis.grid(TOP, bottom + UNDER),
        text(0, 12, "pH", "t tick"),
    ]
    step = 0.5 if highest <= 6 else 1.0
    ph = 3.0
    while ph <= highest:
        drawn.append(line(axis.left, frame.y(ph), axis.right, frame.y(ph), "grid"))
        drawn.append(text(axis.left - 6, frame.y(ph) + 4, f"{ph:.1f}", "t tick", "end"))
        ph += step
    return drawn


def _band(ph: PhForeseen, shown: Sequence[int], frame: _Frame) -> list[str]:
    hours = across(frame.axis, [ph.times_h[i] for i in shown])
    there, back, middle = (
        trail(hours, up(frame.scale, [row[i] or 0.0 for i in shown]))
        for row in (ph.ph.p95, ph.ph.p05, ph.ph.p50)
    )
    return [
        element("path", d="M" + "L".join([*there, *back[::-1]]) + "Z", class_="fan c4"),
        element("path", d="M" + "L".join(middle), class_="curve c4"),
    ]


def _reading(one: PhSeen, frame: _Frame) -> str:
    """A dot with two standard errors either way; a cross for one that was left out."""
    x, y, reach = frame.axis.x(max(one.hours, 0.0)), frame.y(one.ph), TWO_SD * one.sd
    if one.is_odd:
        return line(x - 4, y - 4, x + 4, y + 4, "error") + line(x - 4, y + 4, x + 4, y - 4, "error")
    bar = line(x, frame.y(one.ph + reach), x, frame.y(one.ph - reach), "error")
    return bar + element("circle", cx=x, cy=y, r=4, class_="dot read")
