"""A gravity as the maker typed it: which scale it is on, and whether yeast could begin in it."""

from __future__ import annotations

from mustwright.errors import InputError
from mustwright.must.gravity import (
    brix_from_gravity,
    brix_from_sugar_g_l,
    gravity_from_baume,
    gravity_from_kmw,
    gravity_from_oechsle,
)
from mustwright.texts import say
from mustwright.units import parse_quantity

HEAVIEST_MUST_BRIX = 52.0  # assumed: some of the most sugar-tolerant yeasts begin near 50


def gravity_typed(value: object, field: str, bare: str = "SG") -> float:
    """Brix from a gravity typed on any scale; a bare number is `bare` (SG or Brix).

    Raises
    ------
    InputError
        Outside -3 to 65 Brix (gravity 0.988 to 1.319), or when it is not a gravity.
    """
    requirement = say("needs a gravity such as '1.100', '24 Bx' or '13 Baume' (0.988 to 1.319)")
    quantity = parse_quantity(value, field)
    scale = quantity.unit if quantity.dimension == "gravity" else bare
    if quantity.dimension == "mass concentration":
        scale = "g/L sugar"
    elif quantity.dimension not in ("gravity", "number"):
        raise InputError(field, requirement, value)
    number = quantity.value
    if quantity.dimension == "number" and bare == "SG" and 2 < number < 200:
        raise InputError(
            field,
            say(
                "{requirement}; for Brix write '{number:g} Bx'",
                requirement=requirement,
                number=number,
            ),
            value,
        )
    if quantity.dimension == "number" and bare == "Brix" and 0.98 <= number <= 1.32:
        asked = say(
            "looks like a gravity: write '{number:g} SG' if it is one, else '{number:g} Bx'",
            number=number,
        )
        raise InputError(field, asked, value)
    low, high = _SCALE_ENDS[scale]
    if not low <= number <= high:
        raise InputError(field, requirement, value)
    brix = _brix_from(scale, number)
    if not -3 <= brix <= 65:
        raise InputError(field, requirement, value)
    return brix


def question_heavy(brix: float, field: str, value: object) -> None:
    """Question a must too heavy for yeast to begin in, rather than plan it."""
    if brix > HEAVIEST_MUST_BRIX:
        raise InputError(
            field,
            say(
                "needs a must up to {most:g} Brix (about 1.243): "
                "hardly any yeast begins in more. Look at the figure again; a "
                "stronger mead gets the rest of its honey later, as a secondary "
                "ingredient",
                most=HEAVIEST_MUST_BRIX,
            ),
            value,
        )


_SCALE_ENDS = {
    "SG": (0.98, 1.32),
    "Brix": (-3, 65),
    "Plato": (-3, 65),
    "Baume": (-2, 35),
    "Oechsle": (-12, 320),
    "KMW": (-2, 54),
    "g/L sugar": (0, 860),
}


def _brix_from(scale: str, number: float) -> float:
    if scale in ("Brix", "Plato"):
        return number
    if scale == "g/L sugar":
        return float(brix_from_sugar_g_l(number))
    if scale == "Baume":
        number = float(gravity_from_baume(number))
    elif scale == "KMW":
        number = float(gravity_from_kmw(number))
    elif scale == "Oechsle":
        number = float(gravity_from_oechsle(number))
    return float(brix_from_gravity(number))
