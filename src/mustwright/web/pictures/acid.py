"""Where does the pH go: bands against the sugar used, the floor, and the moment of each dose."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from mustwright.must.acidity.claims import lowest_shown
from mustwright.planning.acidity.result import AcidityResult
from mustwright.web.pictures.svg import element, line, picture, rect, text

WIDE, NARROW = (920.0, 320.0), (340.0, 270.0)
LOWEST, LEAST_TOP = 2.6, 4.0
Rows = Sequence[Mapping[str, float]]


@dataclass(frozen=True)
class _AcidFrame:
    left: float
    right: float
    top: float
    bottom: float
    highest: float

    def x(self, used: float) -> float:
        return round(self.left + used * (self.right - self.left), 1)

    def y(self, ph: float) -> float:
        part = (min(max(ph, LOWEST), self.highest) - LOWEST) / (self.highest - LOWEST)
        return round(self.bottom - part * (self.bottom - self.top), 1)


def acid_picture(result: AcidityResult, narrow: bool = False) -> Markup:
    """Bands without and with the dose; the wide one or the narrow one."""
    width, height = NARROW if narrow else WIDE
    rows, dosed = result.path, result.path_with_dose
    top = max(LEAST_TOP, *(row["p95"] for row in (*rows, *dosed)))
    frame = _AcidFrame(36.0 if narrow else 52.0, width - 8.0, 24.0, height - 40.0, top + 0.1)
    name = "acid-narrow" if narrow else "acid-wide"
    body = [*_ground(frame, narrow), _fan(rows, frame, "c4")]
    if dosed:
        body.append(_fan(dosed, frame, "c0"))
    body += _middle(rows, frame, "c4")
    body += _middle(dosed, frame, "c0") if dosed else []
    body += _floor(result.trough.floor, frame)
    body += _doses(result, frame)
    stall = frame.y(lowest_shown()) + 14
    body.append(
        text(frame.right - 4, stall, f"below {lowest_shown():g}, likely to stall", "t halo", "end")
    )
    title = f"pH along the ferment by sugar used; lowest {result.trough.band.words}"
    if dosed:
        title += f"; with the dose {_lowest(dosed)}"
    return picture(width, height, title, body, name, "narrow" if narrow else "wide")


def _lowest(rows: Rows) -> str:
    last = min(rows, key=lambda row: row["p05"])
    return f"nine in ten between {last['p05']:.1f} and {last['p95']:.1f} where it is lowest"


def _ground(frame: _AcidFrame, narrow: bool) -> list[str]:
    """The part below what is shown, the grid, and what the axes are."""
    stall = frame.y(lowest_shown())
    drawn = [rect(frame.left, stall, frame.right - frame.left, frame.bottom - stall, "stall")]
    drawn.append(line(frame.left, stall, frame.right, stall, "stall-edge"))
    step = 1.0 if frame.highest > 6.5 else 0.5
    ph = 3.0
    while ph <= frame.highest:
        drawn.append(line(frame.left, frame.y(ph), frame.right, frame.y(ph), "grid"))
        drawn.append(text(frame.left - 6, frame.y(ph) + 4, f"{ph:.1f}", "t tick", "end"))
        ph += step
    drawn.append(text(0, 12, "pH", "t tick"))
    for part in (0.0, 0.25, 0.5, 0.75, 1.0):
        x = frame.x(part)
        drawn.append(line(x, frame.top, x, frame.bottom, "grid"))
        anchor = "start" if part == 0 else "end" if part == 1 else "middle"
        words = "yeast in" if part == 0 else f"{part:.0%}"
        drawn.append(text(x, frame.bottom + 16, words, "t tick", anchor))
    words = "of the sugar used" if narrow else "of the fermentable sugar used"
    drawn.append(text(frame.right, frame.bottom + 33, words, "t tick", "end"))
    return drawn


def _fan(rows: Rows, frame: _AcidFrame, style: str) -> str:
    there = [f"{frame.x(row['sugar_used'])} {frame.y(row['p95'])}" for row in rows]
    back = [f"{frame.x(row['sugar_used'])} {frame.y(row['p05'])}" for row in reversed(rows)]
    return element("path", d="M" + "L".join([*there, *back]) + "Z", class_=f"fan {style}")


def _middle(rows: Rows, frame: _AcidFrame, style: str) -> list[str]:
    points = [f"{frame.x(row['sugar_used'])} {frame.y(row['p50'])}" for row in rows]
    return [element("path", d="M" + "L".join(points), class_=f"curve {style}")]


def _floor(floor: float, frame: _AcidFrame) -> list[str]:
    y = frame.y(floor)
    return [
        line(frame.left, y, frame.right, y, "dry"),
        text(frame.right - 4, y - 6, f"floor {floor:g}", "t halo", "end"),
    ]


def _doses(result: AcidityResult, frame: _AcidFrame) -> list[str]:
    drawn = []
    for k, moment in enumerate(result.dose.moments):
        x = frame.x(moment.sugar_used)
        drawn.append(line(x, frame.top, x, frame.bottom, "need"))
        if k == 0:
            words = "dose" if len(result.dose.moments) == 1 else "doses"
            drawn.append(text(x + 6, frame.top + 12, words, "t halo"))
    return drawn
