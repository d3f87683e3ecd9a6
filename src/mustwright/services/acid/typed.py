"""What a maker types about acid, read as numbers: titratable acid with its unit, pH."""

from __future__ import annotations

from mustwright.errors import InputError
from mustwright.must.acidity.members import TARTARIC_MEQ_G
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
        raise InputError(field, "needs titratable acid such as '4 g/L' or '53 meq/L'", typed)
    return quantity.value


def plain_number(typed: str, field: str) -> float | None:
    """A number, a comma taken as the point; None for nothing typed."""
    text = typed.strip().replace(",", ".")
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        raise InputError(field, "needs a number such as 3.6", typed) from None
