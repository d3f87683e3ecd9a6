"""How is nitrogen drawn: ammonium plain, amino hatched, the must's own half as tall."""

from __future__ import annotations

from collections.abc import Iterable

from mustwright.nutrition.feeding_plan import NitrogenSheet
from mustwright.web.pictures.frame import Scale
from mustwright.web.pictures.svg import line, rect

HALF = 9.0


def stack(
    ammonium: float, amino: float, x: float, base: float, scale: float, hatch: str, width: float
) -> str:
    """Ammonium at the bottom, amino on top; a feed with nothing in it is a bare stroke."""
    low, high = ammonium * scale, amino * scale
    left = x - width / 2
    drawn = line(x, base - 4, x, base + 4, "stem")
    if low > 0:
        drawn += rect(left, base - low, width, low, "ammonium")
    if high > 0:
        drawn += rect(left, base - low - high, width, high, "amino", hatch)
    return drawn


def nitrogen_parts(nitrogen: NitrogenSheet) -> list[tuple[float, str]]:
    """What brings the nitrogen of a must, and how it is drawn."""
    return [
        (nitrogen.credit_ammonium_mg_l.value, "ammonium half"),
        (nitrogen.credit_amino_mg_l.value, "amino half"),
        (nitrogen.rehydration_mg_l.value, "wake"),
        (nitrogen.added_ammonium_mg_l.value, "ammonium"),
        (nitrogen.added_amino_mg_l.value, "amino"),
    ]


def bar(
    parts: Iterable[tuple[float, str]], scale: Scale, base: float, tall: float, hatch: str
) -> str:
    """Parts end to end."""
    drawn, at = "", 0.0
    for value, kind in parts:
        if value > 0:
            height = HALF if kind.endswith("half") else tall
            fill = hatch if kind.startswith("amino") else ""
            left, right = scale.at(at), scale.at(at + value)
            drawn += rect(left, base - height, right - left, height, kind, fill)
        at += value
    return drawn
