"""A temperature in the maker's own unit: that of the must's sheet."""

from __future__ import annotations

import tomllib
from functools import lru_cache


@lru_cache(maxsize=128)
def temperature_unit(sheet: str) -> str:
    """C, or F where the must's own sheet gives its temperature in it."""
    try:
        typed = str(tomllib.loads(sheet).get("must", {}).get("temperature", ""))
    except (ValueError, RecursionError, AttributeError):
        return "C"
    return "F" if typed.strip().upper().endswith("F") else "C"


def shown_temperature(celsius: float | None, unit: str) -> str:
    """A temperature as a field in that unit shows it."""
    if celsius is None:
        return ""
    return f"{celsius * 1.8 + 32 if unit == 'F' else celsius:.4g}"


def degrees(celsius: float, sheet: str, digits: int = 1) -> str:
    """A temperature in words.

    Parameters
    ----------
    celsius : float
        [°C].
    sheet : str
        The must's, for the unit; empty for °C.
    digits : int
        Digits after the point; a final zero is left out.

    Examples
    --------
    >>> degrees(29.44, '[must]\\ntemperature = "68 F"'), degrees(20.0, "")
    ('85 °F', '20 °C')
    """
    unit = temperature_unit(sheet)
    value = celsius * 1.8 + 32 if unit == "F" else celsius
    return f"{round(value, digits):g} °{unit}"
