"""Is a number of a form inside its range? One error for all that are not."""

from __future__ import annotations

from mustwright.errors import InputError
from mustwright.texts import say


def within(name: str, value: float, low: float, high: float, unit: str) -> None:
    """Raise unless ``low <= value <= high`` (a number that is none fails too).

    Parameters
    ----------
    name : str
        Of the field, for the message.
    value, low, high : float
        [any unit].
    unit : str
        For the message.

    Raises
    ------
    InputError
    """
    if not low <= value <= high:
        raise InputError(
            name, say("{low:g} to {high:g} {unit}", low=low, high=high, unit=unit).rstrip(), value
        )


def ordered(name: str, pair: tuple[float, float] | None, low: float, high: float) -> None:
    """Raise unless a pair, where given, rises inside its range.

    Parameters
    ----------
    name : str
        Of the field, for the message.
    pair : tuple of float or None
        Low and high end [any unit].
    low, high : float
        What both must lie between [any unit].

    Raises
    ------
    InputError
    """
    if pair is not None and not low <= pair[0] <= pair[1] <= high:
        raise InputError(
            name, say("low and high end, from {low:g} to {high:g}", low=low, high=high), pair
        )
