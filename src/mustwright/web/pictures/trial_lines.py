"""The vessels of a trial side by side: gravity as read, one line a vessel on one axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from mustwright.batch.series import Series
from mustwright.web.pictures.frame import Frame, Scale, TimeAxis
from mustwright.web.pictures.svg import Canvas, curve, dot, text

TOP, BOTTOM, STEPS = 24.0, 260.0, (0.005, 0.01, 0.02, 0.05)
LABEL_PX = 13.0
STYLES = 5


@dataclass(frozen=True)
class VesselLine:
    """One vessel: label, readings, and the style of its arm (one for all while blind)."""

    label: str
    points: Series
    style: int


def trial_lines(vessels: Sequence[VesselLine]) -> tuple[Markup, Markup]:
    """The wide picture and the narrow one."""
    return _picture(vessels, False), _picture(vessels, True)


def _picture(vessels: Sequence[VesselLine], narrow: bool) -> Markup:
    canvas = Canvas("trial", narrow)
    read = [v for v in vessels if len(v.points)]
    hours = [float(v.points.hours.max()) for v in read]
    values = [float(g) for v in read for g in (v.points.gravity.min(), v.points.gravity.max())]
    low, high = min(values, default=1.0), max(values, default=1.1)
    axis = TimeAxis.to_hold(48.0, canvas.width - 40, hours)
    frame = Frame(axis, Scale(low - 0.003, high + 0.003, BOTTOM, TOP))
    body = [*frame.ticks("gravity", STEPS, 7, ".3f"), axis.grid(TOP - 4, BOTTOM)]
    taken: list[float] = []
    for vessel in read:
        across = axis.along(vessel.points.hours)
        up = frame.up.along(vessel.points.gravity)
        body.append(curve(across, up, f"c{vessel.style % STYLES}"))
        body += [dot(float(x), float(y), "dot", 3) for x, y in zip(across, up, strict=True)]
        body.append(text(canvas.width - 36, _free(float(up[-1]), taken), vessel.label, "t soft"))
    body.append(axis.labels(BOTTOM + 16))
    title = f"Gravity of {len(read)} vessels as read"
    return canvas.picture(BOTTOM + 22, title, body)


def _free(y: float, taken: list[float]) -> float:
    """A height for a label that none has yet."""
    while any(abs(y - other) < LABEL_PX for other in taken):
        y += LABEL_PX
    taken.append(y)
    return y
