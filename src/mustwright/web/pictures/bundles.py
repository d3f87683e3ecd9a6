"""Does it matter which protocol: plans that make no real difference as one bundle, numbered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from markupsafe import Markup

from mustwright.must.gravity_text import gravity_text
from mustwright.texts import redone, say
from mustwright.web.pictures.fewer_points import needed_points
from mustwright.web.pictures.frame import Frame, TimeAxis
from mustwright.web.pictures.gravity import (
    GRAVITY_STEPS,
    Curve,
    Layout,
    drawn_forecast,
    gravity_at,
    gravity_scale,
    spoken_title,
    style_class,
)
from mustwright.web.pictures.svg import curve, fan, line, picture, text

APART = 15.0  # px between two numbers
LONGEST = 36  # letters beside a line


@dataclass(frozen=True)
class Bundle:
    """Plans that make no real difference.

    Parameters
    ----------
    number : int
        1 for that of the recommended plan; written at the end of its line.
    curves : tuple of Curve
        The one that stands for it first.
    """

    number: int
    curves: tuple[Curve, ...]

    @property
    def name(self) -> str:
        """That of its first plan, and how many more."""
        others = len(self.curves) - 1
        more = say(" and {others} more", others=others) if others else ""
        return redone(_together, self.curves[0].name, more)


def _together(first: str, more: str) -> str:
    room = LONGEST - len(more)
    return (first if len(first) <= room else first[: room - 1].rstrip() + "…") + more


def bundles_picture(
    bundles: Sequence[Bundle], dry: float, axis: TimeAxis, layout: Layout, key: str
) -> Markup:
    """Gravity against time: a band for each bundle, a line for each plan, a number at its end.

    Parameters
    ----------
    bundles : sequence of Bundle
        That of the recommended plan first.
    dry : float
        Gravity of the dry mead.
    """
    top, bottom = 24.0, layout.height - 8.0
    every = [one for bundle in bundles for one in bundle.curves]
    frame = Frame(axis, gravity_scale(every, dry, axis.end_h, bottom, top))
    body = [axis.grid(top - 4, bottom), *frame.gravity_ticks(GRAVITY_STEPS, 8)]
    drawn = [_bundle(bundle, frame) for bundle in reversed(bundles)]
    for depth in range(3):  # bands lowest, then lines, then what is brought forward
        body += [piece for pieces in drawn for piece in pieces[depth]]
    body += frame.level(
        dry, say("dry, {gravity_text}", gravity_text=gravity_text(dry)), "t soft halo"
    )
    body += _numbers(bundles, frame, layout)
    return picture(
        layout.width, layout.height, spoken_title(every), body, key, layout.kind, frame.axis_words
    )


def _bundle(bundle: Bundle, frame: Frame) -> tuple[list[str], list[str], list[str]]:
    """Its bands, the lines of its plans, and those in front."""
    style = style_class(bundle.curves[0])
    bands: list[str] = []
    lines: list[str] = []
    front: list[str] = []
    if len(bundle.curves) > 1:
        bands.append(_envelope(bundle.curves, frame, style))
    for k, one in enumerate(bundle.curves):
        own_bands, middle = drawn_forecast(one, frame, "" if k == 0 or one.bands else "member")
        bands += own_bands
        (front if one.bands else lines).append(middle)
    return bands, lines, front


def _envelope(curves: Sequence[Curve], frame: Frame, style: str) -> str:
    """From the lowest middle to the highest."""
    times = curves[0].outcome.times_h
    shown = frame.shown(times)
    rows = np.array([one.outcome.gravity.p50[:shown] for one in curves])
    low, high = rows.min(0), rows.max(0)
    kept = needed_points(times[:shown], (low, high), frame.up.px_per_unit)
    hours = frame.across.along(np.array(times)[kept])
    return fan(
        hours,
        frame.up.along(high[kept]),
        frame.up.along(low[kept]),
        f"bundle {style}",
    )


def _numbers(bundles: Sequence[Bundle], frame: Frame, layout: Layout) -> list[str]:
    """A number at the end of each bundle, moved apart; with its name where there is room."""
    right = frame.across.end
    ends = [frame.up.at(gravity_at(b.curves[0].outcome, frame.across.high)) for b in bundles]
    drawn = []
    for bundle, end, y in zip(bundles, ends, apart(ends, APART, frame.up.start), strict=True):
        drawn.append(line(right + 1, end, right + 8, y, "leader"))
        drawn.append(text(right + 10, y + 4, str(bundle.number), "t strong"))
        if layout.names_right:
            stroke = curve((f"{right + 24:g}", f"{right + 52:g}"), (f"{y:g}",) * 2,
                           style_class(bundle.curves[0]))  # fmt: skip
            drawn += [stroke, text(right + 58, y + 4, bundle.name, "t soft")]
    return drawn


def apart(ends: Sequence[float], room: float, floor: float) -> list[float]:
    """Heights near the given ones, at least `room` from each other and none below the floor."""
    order = sorted(range(len(ends)), key=lambda k: ends[k])
    placed = list(ends)
    for before, k in pairwise(order):
        placed[k] = max(placed[k], placed[before] + room)
    lowest = floor
    for k in reversed(order):
        placed[k] = min(placed[k], lowest)
        lowest = placed[k] - room
    return placed
