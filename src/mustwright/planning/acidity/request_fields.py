"""What a maker types about acid, read as numbers: titratable acid with its unit, pH."""

from __future__ import annotations

import re

from mustwright.errors import InputError
from mustwright.must.acidity.members import TARTARIC_MEQ_G
from mustwright.texts import say
from mustwright.units import parse_quantity


def titratable_g_l(typed: str | None, field: str) -> float | None:
    """Titratable acid as tartaric [g/L] from what was typed; a bare number is g/L.

    Examples
    --------
    >>> titratable_g_l("4 g/L", "ta"), round(titratable_g_l("53 meq/L", "ta"), 2)
    (4.0, 3.98)
    """
    if typed is None:
        return None
    plain = typed.strip()
    if plain.lower().endswith("meq/l"):
        return parse_quantity(plain[:-5], field).value / TARTARIC_MEQ_G
    quantity = parse_quantity(plain, field)
    if quantity.dimension not in ("mass concentration", "number"):
        raise InputError(field, say("needs titratable acid such as '4 g/L' or '53 meq/L'"), typed)
    return quantity.value


def bench_points(typed: str, field: str) -> tuple[tuple[float, float], ...]:
    """A bench trial as typed: grams per litre and the pH it then showed, any number of pairs.

    Examples
    --------
    >>> bench_points("0.25:4.1, 0.5 g/L: 4.6", "bench")
    ((0.25, 4.1), (0.5, 4.6))
    """
    return tuple(_bench_point(one, field) for one in re.split(r"[,;\n]", typed) if one.strip())


def _bench_point(typed: str, field: str) -> tuple[float, float]:
    grams, _, ph = typed.partition(":")
    try:
        return float(grams.lower().replace("g/l", "").replace("g", "")), float(ph)
    except ValueError:
        raise InputError(
            field, say("needs grams per litre and pH, such as 0.25:4.1"), typed
        ) from None


def plain_number(typed: str, field: str) -> float | None:
    """A number, a comma taken as the point; None for nothing typed."""
    text = typed.strip().replace(",", ".")
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        raise InputError(field, say("needs a number such as 3.6"), typed) from None
