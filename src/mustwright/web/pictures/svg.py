"""The pencil: SVG elements as text, every value escaped, classes instead of styles."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from html import escape

from markupsafe import Markup

from mustwright.languages import here


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
    """A coordinate to a tenth of a pixel, without a trailing zero."""
    whole = int(value)
    return str(whole) if whole == value else f"{value:.1f}".removesuffix(".0")


def text(x: float, y: float, words: str, class_: str = "t", anchor: str = "start") -> str:
    """A line of text on its baseline."""
    place = f'x="{_number(x)}" y="{_number(y)}"'
    ends = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text {place} class="{class_}"{ends}>{escape(here(words))}</text>'


def near(x: float, y: float, words: str, width: float, class_: str) -> str:
    """Text centred on x, held inside a picture so wide (up to 8.4 px a letter)."""
    words = here(words)
    half = 4.2 * len(words)
    held = min(max(x, half + 2), width - half - 2)
    return text(round(held, 1), round(y, 1), words, class_, "middle")


def wrapped(name: str, longest: int) -> list[str]:
    """A name on one line or two, cut where even that is too short."""
    lines = [""]
    for word in here(name).split():
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


def dot(x: float, y: float, class_: str, radius: int = 5) -> str:
    """A round mark."""
    return element("circle", cx=x, cy=y, r=radius, class_=class_)


def trail(across: Iterable[str], up: Iterable[str]) -> list[str]:
    """Points as a path writes them, from coordinates as text."""
    return list(map(" ".join, zip(across, up, strict=True)))


def curve(across: Iterable[str], up: Iterable[str], style: str, key: str = "") -> str:
    """A line through places; with a key, pages can bring it forward."""
    path = "M" + "L".join(trail(across, up))
    return element("path", d=path, class_=f"curve {style}", data_curve=key or None)


def fan(across: Sequence[str], high: Sequence[str], low: Sequence[str], style: str) -> str:
    """A band between two lines."""
    path = "M" + "L".join([*trail(across, high), *trail(across, low)[::-1]]) + "Z"
    return element("path", d=path, class_=f"fan {style}")


@dataclass(frozen=True)
class Canvas:
    """One of the two widths a picture is drawn in: for a laptop, and for a phone."""

    name: str
    narrow: bool = False
    wide_px: float = 920.0
    narrow_px: float = 340.0

    @property
    def width(self) -> float:
        """How wide it is [px]."""
        return self.narrow_px if self.narrow else self.wide_px

    @property
    def kind(self) -> str:
        """Its class in the style sheet."""
        return "narrow" if self.narrow else "wide"

    @property
    def hatch(self) -> str:
        """The pattern of amino nitrogen."""
        return f"{self.name}-{self.kind}-hatch"

    def picture(self, height: float, title: str, body: Iterable[str], axis: str = "") -> Markup:
        """What was drawn, as a whole picture; `axis` as in `picture`."""
        name = f"{self.name}-{self.kind}"
        return picture(self.width, height, title, body, name, self.kind, axis)


def picture(
    width: float,
    height: float,
    title: str,
    body: Iterable[str],
    name: str,
    class_: str,
    axis: str = "",
) -> Markup:
    """A whole picture, with a name for those who cannot see it.

    Parameters
    ----------
    axis : str
        Where its axis lies (`Frame.axis_words`), so that a page can read values off it.
    """
    drawn = "".join(body)
    hatch = element(
        "pattern",
        rect(0, 0, 5, 5, "hatch-ground") + line(0, 0, 0, 5, "hatch-line"),
        id=f"{name}-hatch", width=5, height=5, patternUnits="userSpaceOnUse",
        patternTransform="rotate(45)",
    )  # fmt: skip
    inside = element("title", escape(here(title)), id=f"{name}-title")
    if f"#{name}-hatch" in drawn:  # amino nitrogen
        inside += element("defs", hatch)
    return Markup(
        element(
            "svg",
            inside + drawn,
            viewBox=f"0 0 {width:g} {height:g}",
            width=f"{width:g}",
            height=f"{height:g}",
            role="img",
            aria_labelledby=f"{name}-title",
            class_=f"picture {class_}",
            data_axis=axis or None,
        )
    )
