"""Where did the pH of a batch go and where will it go: its band and readings on a time axis."""

from __future__ import annotations

from markupsafe import Markup

from mustwright.batch.ph_forecast_record import PhForeseen, PhSeen
from mustwright.batch.ph_text import band_words
from mustwright.must.acidity.claims import lowest_shown, stall_words
from mustwright.planning.hours_text import clock
from mustwright.texts import say, say_n
from mustwright.web.pictures.frame import Frame, Scale, TimeAxis
from mustwright.web.pictures.svg import Canvas, curve, fan, line, rect, text
from mustwright.web.pictures.values import MOST_MOMENTS, ValueTable

TOP, PLOT, UNDER = 26.0, 130.0, 16.0
BOTTOM = TOP + PLOT
LEAST_TOP = 4.0
PH_TICKS = (0.5, 1.0), 8


def batch_ph(ph: PhForeseen, now_h: float, end_h: float, narrow: bool = False) -> Markup:
    """The wide picture or the narrow one, up to an hour after pitch."""
    canvas = Canvas("ph", narrow)
    axis = TimeAxis.to_hold(48.0, canvas.width - 8, [end_h])
    shown = [i for i, h in enumerate(ph.times_h) if h <= axis.end_h]
    top = max([LEAST_TOP, *(ph.ph.p95[i] or 0.0 for i in shown), *(s.ph for s in ph.seen)])
    frame = Frame(axis, Scale(lowest_shown(), top + 0.1, BOTTOM, TOP))
    hours = axis.along([ph.times_h[i] for i in shown])
    high, low, middle = (
        frame.up.along([row[i] or 0.0 for i in shown]) for row in (ph.ph.p95, ph.ph.p05, ph.ph.p50)
    )
    body = [
        rect(axis.start, BOTTOM, axis.end - axis.start, UNDER, "stall"),
        line(axis.start, BOTTOM, axis.end, BOTTOM, "stall-edge"),
        text(axis.end - 4, BOTTOM + 12, stall_words(), "t halo", "end"),
        axis.grid(TOP, BOTTOM + UNDER),
        *frame.ticks("pH", *PH_TICKS, ".1f"),
        fan(hours, high, low, "c4"),
        curve(hours, middle, "c4"),
        *frame.level(ph.floor, say("floor {floor:g}", floor=ph.floor), "t halo", at_end=True),
        *(_reading(one, frame) for one in ph.seen),
        axis.now(now_h, TOP - 8, BOTTOM + UNDER, canvas.width),
        axis.labels(BOTTOM + UNDER + 16),
    ]
    title = say_n(
        "pH along the batch: {count} reading; now {now}, lowest ahead {lowest}",
        "pH along the batch: {count} readings; now {now}, lowest ahead {lowest}",
        len(ph.seen),
        now=band_words(ph.now),
        lowest=band_words(ph.lowest_ahead),
    )
    return canvas.picture(BOTTOM + UNDER + 22, title, body, frame.axis_words)


def ph_values(ph: PhForeseen, end_h: float) -> ValueTable:
    """What stands behind that picture."""
    shown = [i for i, hours in enumerate(ph.times_h) if hours <= end_h]
    step = max(len(shown) // MOST_MOMENTS, 1)
    rows = []
    for i in shown[::step]:
        middle, low, high = (row[i] for row in (ph.ph.p50, ph.ph.p05, ph.ph.p95))
        span = say("{low} to {high}", low=_said(low), high=_said(high))
        rows.append((ph.times_h[i], clock(ph.times_h[i]), (_said(middle), span)))
    return ValueTable((say("middle"), say("nine in ten")), tuple(rows))


def _said(ph: float | None) -> str:
    """A pH of the forecast; none is one below all that the model says."""
    return (
        say("below {lowest_shown:g}", lowest_shown=lowest_shown())
        if ph is None or ph < lowest_shown()
        else say("{ph:.1f}", ph=ph)
    )


def _reading(one: PhSeen, frame: Frame) -> str:
    """A dot with its error; a cross for one that was left out."""
    hours = max(one.hours, 0.0)
    if not one.is_odd:
        return frame.reading(hours, one.ph, one.sd)
    x, y = frame.across.at(hours), frame.up.at(one.ph)
    return line(x - 4, y - 4, x + 4, y + 4, "error") + line(x - 4, y + 4, x + 4, y - 4, "error")
