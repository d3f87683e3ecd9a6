"""The pencil: SVG elements as text, every value escaped, classes instead of styles."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cache, lru_cache
from html import escape

from markupsafe import Markup

HOURS_PER_DAY = 24.0


def element(tag: str, content: str = "", **attributes: object) -> str:
    """One element; a trailing or inner underscore of a name becomes a hyphen or nothing."""
    written = "".join(
        [
            f' {_attribute(name)}="{_short(value)}"'
            for name, value in attributes.items()
            if value is not None
        ]
    )
    return f"<{tag}{written}>{content}</{tag}>" if content else f"<{tag}{written}/>"


@cache
def _attribute(name: str) -> str:
    return name.rstrip("_").replace("_", "-")


def _short(value: object) -> str:
    """A value as an attribute holds it; numbers need no escaping."""
    if isinstance(value, float):
        return _number(value)
    return str(value) if isinstance(value, int) else _escaped(str(value))


_escaped = lru_cache(maxsize=1024)(escape)  # names of classes, most of them


@lru_cache(maxsize=16_384)
def _number(value: float) -> str:
    """A coordinate to two decimals, without trailing zeros."""
    whole = int(value)
    return str(whole) if whole == value else f"{value:.2f}".rstrip("0").rstrip(".")


def text(x: float, y: float, words: str, class_: str = "t", anchor: str = "start") -> str:
    """A line of text on its baseline."""
    place = f'x="{_number(x)}" y="{_number(y)}"'
    return f'<text {place} class="{class_}" text-anchor="{anchor}">{escape(words)}</text>'


def wrapped(name: str, longest: int) -> list[str]:
    """A name on one line or two, cut where even that is too short."""
    lines = [""]
    for word in name.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > longest and len(lines) < 2:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}".strip()
    if len(lines[-1]) > longest + 4:
        lines[-1] = lines[-1][: longest + 2].rstrip() + "…"
    return lines


def rect(x: float, y: float, width: float, height: float, class_: str, fill: str = "") -> str:
    """A box; `fill` may name a pattern."""
    return element(
        "rect", x=x, y=y, width=max(width, 0.0), height=max(height, 0.0), class_=class_,
        fill=f"url(#{fill})" if fill else None,
    )  # fmt: skip


def line(x1: float, y1: float, x2: float, y2: float, class_: str) -> str:
    """A stroke."""
    start, end = f'x1="{_number(x1)}" y1="{_number(y1)}"', f'x2="{_number(x2)}" y2="{_number(y2)}"'
    return f'<line {start} {end} class="{class_}"/>'


def whisker(x1: float, x2: float, y: float, end: float, half: float = 3.0) -> str:
    """A range along the time axis; where it runs past the end it gets an arrow head."""
    cut = min(x2, end)
    drawn = line(x1, y, cut, y, "whisker") + line(x1, y - half, x1, y + half, "whisker")
    if x2 <= end:
        return drawn + line(cut, y - half, cut, y + half, "whisker")
    head = f"M{cut - 5:.1f} {y - half:.1f}L{cut:.1f} {y:.1f}L{cut - 5:.1f} {y + half:.1f}"
    return drawn + element("path", d=head, class_="whisker open")


def picture(
    width: float, height: float, title: str, body: Iterable[str], name: str, class_: str
) -> Markup:
    """A whole picture with the amino hatch, with a name for those who cannot see it."""
    hatch = element(
        "pattern",
        rect(0, 0, 5, 5, "hatch-ground") + line(0, 0, 0, 5, "hatch-line"),
        id=f"{name}-hatch", width=5, height=5, patternUnits="userSpaceOnUse",
        patternTransform="rotate(45)",
    )  # fmt: skip
    inside = element("title", escape(title), id=f"{name}-title") + element("defs", hatch)
    return Markup(
        element(
            "svg",
            inside + "".join(body),
            viewBox=f"0 0 {width:g} {height:g}",
            width=f"{width:g}",
            height=f"{height:g}",
            role="img",
            aria_labelledby=f"{name}-title",
            class_=f"picture {class_}",
        )
    )


@dataclass(frozen=True)
class TimeAxis:
    """Hours after pitch laid out from `left` to `right`.

    Parameters
    ----------
    end_h : float
        Last hour shown [h].
    """

    left: float
    right: float
    end_h: float
    days: tuple[int, ...] = field(default=())

    @classmethod
    def to_hold(cls, left: float, right: float, hours: Iterable[float]) -> TimeAxis:
        """An axis of whole days long enough for every hour given."""
        last = max([*hours, HOURS_PER_DAY])
        count = max(math.ceil(last / HOURS_PER_DAY - 1e-6), 1)
        room = (right - left) / count
        step = next(s for s in (1, 2, 5, 7, 14, 28, count + 1) if s * room >= 30 or s > count)
        return cls(left, right, count * HOURS_PER_DAY, tuple(range(0, count + 1, step)))

    def x(self, hours: float) -> float:
        """Where an hour stands."""
        part = min(max(hours / self.end_h, 0.0), 1.0)
        return round(self.left + part * (self.right - self.left), 1)

    @lru_cache(maxsize=256)  # noqa: B019 (an axis is a few numbers, and most pictures share one)
    def grid(self, top: float, bottom: float) -> str:
        """A fine line for each day named."""
        return "".join(
            line(self.x(d * HOURS_PER_DAY), top, self.x(d * HOURS_PER_DAY), bottom, "grid")
            for d in self.days
        )

    @lru_cache(maxsize=256)  # noqa: B019
    def labels(self, y: float) -> str:
        """Names of the days under (or over) the axis."""
        drawn = []
        step = self.x(self.days[1] * HOURS_PER_DAY) - self.left if len(self.days) > 1 else 99.0
        first = "pitch" if step >= 48 else "0"
        named = self.days[1 if step >= 62 or len(self.days) < 4 else 2 : 3]
        for d in self.days:
            anchor = "start" if d == 0 else "end" if d * HOURS_PER_DAY == self.end_h else "middle"
            name = first if d == 0 else f"day {d}" if d in named[:1] else str(d)
            drawn.append(text(self.x(d * HOURS_PER_DAY), y, name, "t tick", anchor))
        return "".join(drawn)
