"""One reading on every scale it can be read on."""

from __future__ import annotations

import re
from typing import Any

from mustwright.errors import InputError
from mustwright.figure import Figure
from mustwright.planning.convert import Conversion, convert
from mustwright.planning.gravity_scales import on_scale
from mustwright.units import UNITS, parse_quantity

FIELDS = ("value", "instrument", "temperature", "calibration", "original")
GRAVITY = ("SG", "Brix", "Plato", "Baume", "Oechsle", "KMW", "g/L sugar")
FROM_INDEX = ("moisture", "Brix", "SG")


def targets(value: str, original: str) -> tuple[str, ...]:
    """The units a typed value can be shown in, the likeliest first.

    Examples
    --------
    >>> targets("24 Bx", "")[:2]
    ('SG', 'Brix')
    """
    if re.search(r"n_?d(20)?\s*$", value, re.IGNORECASE):
        return FROM_INDEX
    quantity = parse_quantity(value, "value")
    if quantity.dimension in ("gravity", "number"):
        return (*GRAVITY, "% vol") if original else (*GRAVITY, "nD")
    return tuple(unit.name for unit in UNITS if unit.dimension == quantity.dimension)


def readings(typed: dict[str, str]) -> tuple[list[Conversion], InputError | None]:
    """The value on every scale; an error if it is not a value, or the reading is impossible.

    A scale that cannot show this one reading is left out as long as another can.
    """
    value = typed["value"]
    how: dict[str, Any] = {name: typed[name] or None for name in FIELDS[1:]}
    found: list[Conversion] = []
    error: InputError | None = None
    try:
        wanted = targets(value, typed["original"])
    except InputError as wrong:
        return [], wrong
    corrected: Figure | None = None
    for unit in wanted:
        if corrected is not None and unit in GRAVITY:
            found.append(Conversion(on_scale(corrected, unit), unit))
            continue
        try:
            one = convert(value, unit, **how)
        except InputError as wrong:
            error = error or wrong
            continue
        found.append(one)
        if unit == "SG" and any(how.values()):
            corrected = one.value
    return found, None if found else error
