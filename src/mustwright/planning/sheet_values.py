"""Values of a must sheet checked one by one: tables and numbers within range."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from mustwright.errors import InputError
from mustwright.texts import say


def mapping(value: object, field: str) -> Mapping[str, Any]:
    """A table; InputError for anything else."""
    if not isinstance(value, Mapping):
        raise InputError(field, say("needs a table"), value)
    return value


def number_within(value: object, field: str, low: float, high: float, unit: str) -> float | None:
    """A number from low to high, None for nothing given; InputError otherwise."""
    if value is None:
        return None
    requirement = say(
        "needs a number from {low:g} to {high:g} ({unit})", low=low, high=high, unit=unit
    )
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise InputError(field, requirement, value)
    try:
        found = float(str(value).replace(",", ".").lower().removesuffix("mg/l").strip())
    except ValueError:
        raise InputError(field, requirement, value) from None
    if not low <= found <= high:
        raise InputError(field, requirement, value)
    return found
