"""A volume in the maker's own unit: gallons or quarts where the must's volume was typed in them."""

from __future__ import annotations

import tomllib
from functools import lru_cache

from mustwright.errors import MustwrightError
from mustwright.units import in_unit, parse_quantity

OWN_UNITS = ("US gal", "imp gal", "US qt")


@lru_cache(maxsize=128)
def volume_unit(sheet: str) -> str:
    """L, or the unit that the must's own sheet gives its volume in (`OWN_UNITS`)."""
    try:
        typed = tomllib.loads(sheet).get("must", {}).get("volume", "")
        unit = parse_quantity(typed, "must.volume").unit
    except (ValueError, RecursionError, AttributeError, MustwrightError):
        return "L"
    return unit if unit in OWN_UNITS else "L"


def litres_words(litres: float, sheet: str, decimals: int = 1) -> str:
    """A volume in words.

    Parameters
    ----------
    litres : float
        At least 0 [L].
    sheet : str
        The must's, for the unit; empty for litres.
    decimals : int
        After the point in litres; larger units take three figures.

    Examples
    --------
    >>> litres_words(0.95, '[must]\\nvolume = "5 gal"', 2), litres_words(19.0, "")
    ('0.251 US gal', '19.0 L')
    """
    unit = volume_unit(sheet)
    if unit == "L":
        return f"{litres:.{decimals}f} L"
    return f"{in_unit(litres, unit):.3g} {unit}"


def short_litres(litres: float, sheet: str) -> str:
    """A volume as briefly as hundredths allow.

    Examples
    --------
    >>> short_litres(17.034, '[must]\\nvolume = "5 gal"'), short_litres(17.0, "")
    ('4.5 US gal', '17 L')
    """
    unit = volume_unit(sheet)
    return f"{round(litres if unit == 'L' else in_unit(litres, unit), 2):g} {unit}"
