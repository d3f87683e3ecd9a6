"""One scale of sweetness into another, each step a figure that carries its formula."""

from __future__ import annotations

import math
from collections.abc import Callable

from mustwright.errors import InputError
from mustwright.figure import Figure
from mustwright.must.gravity import (
    HIGHEST_BRIX,
    baume_from_gravity,
    brix_from_gravity,
    brix_from_sugar_g_l,
    gravity_from_baume,
    gravity_from_brix,
    gravity_from_kmw,
    gravity_from_oechsle,
    kmw_from_gravity,
    oechsle_from_gravity,
    sugar_g_l_from_brix,
)
from mustwright.must.gravity_text import gravity_span
from mustwright.texts import say

BRIX_SOURCE = "NBS1942 apparent SG 20/20 table; ICUMSA1998 above 40 Brix"
LOWEST_GRAVITY = 0.96
HIGHEST_GRAVITY = float(gravity_from_brix(HIGHEST_BRIX))

_Step = tuple[Callable[[float], object], str, str]

DEFINITION = say("definition")
_TO_GRAVITY: dict[str, _Step] = {
    "SG": (float, say("as it stands"), DEFINITION),
    "Brix": (gravity_from_brix, say("inverse of the Brix cubic"), BRIX_SOURCE),
    "Plato": (gravity_from_brix, say("Plato taken as Brix (both % mass of sugar)"), BRIX_SOURCE),
    "Baume": (gravity_from_baume, "145 / (145 - Baume)", "modulus 145 (from memory)"),
    "Oechsle": (gravity_from_oechsle, "1 + Oechsle / 1000", DEFINITION),
    "KMW": (gravity_from_kmw, "1 + KMW (0.022 KMW + 4.54) / 1000", "KMW, second-hand"),
    "g/L sugar": (
        lambda g_l: gravity_from_brix(brix_from_sugar_g_l(g_l)),
        say("Brix = 100 g/L / density, then gravity of that Brix"),
        f"ICUMSA1998; {BRIX_SOURCE}",
    ),
}

_FROM_GRAVITY: dict[str, _Step] = {
    "SG": (float, say("as it stands"), DEFINITION),
    "Brix": (
        brix_from_gravity,
        "((182.4601 SG - 775.6821) SG + 1262.7794) SG - 669.5622, zero at SG 1",
        BRIX_SOURCE,
    ),
    "Plato": (brix_from_gravity, say("Plato taken as Brix (both % mass of sugar)"), BRIX_SOURCE),
    "Baume": (baume_from_gravity, "145 - 145 / SG", "modulus 145 (from memory)"),
    "Oechsle": (oechsle_from_gravity, "1000 (SG - 1)", DEFINITION),
    "KMW": (
        kmw_from_gravity,
        say("positive root of Oechsle = KMW (0.022 KMW + 4.54)"),
        "KMW, second-hand",
    ),
    "g/L sugar": (
        lambda sg: sugar_g_l_from_brix(brix_from_gravity(sg)),
        say("Brix / 100 * density of that Brix at 20 C"),
        f"{BRIX_SOURCE}; ICUMSA1998",
    ),
}


def gravity_figure(came: Figure, field: str) -> Figure:
    """Apparent gravity 20/20 °C of a value on any scale; `field` is named in the error.

    Examples
    --------
    >>> from mustwright.figure import typed
    >>> round(gravity_figure(typed(24.0, "Brix"), "value").value, 4)
    1.101
    """
    if came.unit == "g/L sugar" and not 0 <= came.value <= 940:
        raise InputError(
            field,
            say("needs 0 to 940 g/L of sugar"),
            f"{came.value:g} {came.unit}",
        )
    if came.unit == "Baume" and not came.value < 145:
        raise InputError(
            field,
            say("needs less than 145 Baume"),
            f"{came.value:g} {came.unit}",
        )
    if came.unit in ("Brix", "Plato") and not -12 <= came.value <= HIGHEST_BRIX:
        raise InputError(
            field,
            say("needs -12 to {most:g} Brix", most=HIGHEST_BRIX),
            f"{came.value:g}",
        )
    if came.unit == "SG":
        gravity = came
    else:
        function, formula, source = _TO_GRAVITY[came.unit]
        value = float(function(came.value))  # type: ignore[arg-type]
        gravity = Figure(value, "SG", formula, source, {came.unit: came})
    if not (math.isfinite(gravity.value) and LOWEST_GRAVITY <= gravity.value <= HIGHEST_GRAVITY):
        needs = say(
            "needs a gravity from {span}",
            span=gravity_span(LOWEST_GRAVITY, HIGHEST_GRAVITY),
        )
        raise InputError(field, needs, f"{came.value:g} {came.unit}")
    return gravity


def on_scale(gravity: Figure, scale: str) -> Figure:
    """An apparent gravity 20/20 °C on another scale, its range carried along.

    Examples
    --------
    >>> from mustwright.figure import typed
    >>> round(on_scale(typed(1.100, "SG"), "Brix").value, 2)
    23.77
    """
    if scale == "SG":
        return gravity
    function, formula, source = _FROM_GRAVITY[scale]
    low, high = (
        None if end is None else float(function(end))  # type: ignore[arg-type]
        for end in (gravity.low, gravity.high)
    )
    value = float(function(gravity.value))  # type: ignore[arg-type]
    return Figure(value, scale, formula, source, {"SG": gravity}, low, high)
