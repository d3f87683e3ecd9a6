"""The vessels of a trial side by side: gravity as read, one line a vessel on one axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from mustwright.batch.series import Series
from mustwright.must.gravity_text import gravity_text
from mustwright.texts import say
from mustwright.web.pictures.batch_line import thinned
from mustwright.web.pictures.bundles import apart
from mustwright.web.pictures.frame import Frame, Scale, TimeAxis
from mustwright.web.pictures.gravity import STYLES
from mustwright.web.pictures.svg import Canvas, curve, dot, text
from mustwright.web.pictures.values import MOST_MOMENTS, ValueTable, told_together

TOP, BOTTOM, STEPS = 24.0, 260.0, (0.005, 0.01, 0.02, 0.05)
LABEL_PX = 13.0


@dataclass(frozen=True)
class VesselLine:
    """One vessel: label, readings, and the style of its arm (one for all while blind)."""

    label: str
    points: Series
    style: int


def trial_lines(vessels: Sequence[VesselLine]) -> tuple[Markup, Markup]:
    """The wide picture and the narrow one."""
    return _picture(vessels, False), _picture(vessels, True)


def trial_values(vessels: Sequence[VesselLine]) -> ValueTable:
    """What stands behind that picture: each round of readings."""
    return told_together(
        [(v.label, [(p.hours, gravity_text(p.gravity)) for p in _drawn(v)]) for v in vessels],
        MOST_MOMENTS,
    )


def _picture(vessels: Sequence[VesselLine], narrow: bool) -> Markup:
    canvas = Canvas("trial", narrow)
    read = [v for v in vessels if len(v.points)]
    hours = [float(v.points.hours.max()) for v in read]
    values = [float(g) for v in read for g in (v.points.gravity.min(), v.points.gravity.max())]
    low, high = min(values, default=1.0), max(values, default=1.1)
    axis = TimeAxis.to_hold(48.0, canvas.width - 40, hours)
    frame = Frame(axis, Scale(low - 0.003, high + 0.003, BOTTOM, TOP))
    body = [*frame.gravity_ticks(STEPS, 7), axis.grid(TOP - 4, BOTTOM)]
    ends = [frame.up.at(float(v.points.gravity[-1])) for v in read]
    for vessel, y in zip(read, apart(ends, LABEL_PX, BOTTOM), strict=True):
        points = _drawn(vessel)
        across, up = axis.along(points.hours), frame.up.along(points.gravity)
        body.append(curve(across, up, f"c{vessel.style % STYLES}"))
        body += [dot(float(x), float(y), "dot", 3) for x, y in zip(across, up, strict=True)]
        body.append(text(canvas.width - 36, y + 4, vessel.label, "t soft"))
    body.append(axis.labels(BOTTOM + 16))
    title = say("Gravity of {read} vessels as read", read=len(read))
    return canvas.picture(BOTTOM + 22, title, body, frame.axis_words)


def _drawn(vessel: VesselLine) -> Series:
    """Its readings; of a device's, so many as can be told apart."""
    return vessel.points.take(thinned(len(vessel.points)))
