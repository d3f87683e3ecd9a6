"""What a scale can show: its decimals, amounts down to its step, and the first half of a dose."""

from __future__ import annotations

import math

from mustwright.texts import Text, say

_NEAR = 1e-6  # of a step: as near as an amount worked out in steps comes to one


def decimals_of(step_g: float) -> int:
    """How many decimals a scale shows, up to 3.

    Examples
    --------
    >>> [decimals_of(step) for step in (5.0, 1.0, 0.5, 0.1, 0.05, 0.01)]
    [0, 0, 1, 1, 2, 2]
    """
    return next((n for n in range(3) if abs(round(step_g, n) - step_g) < 1e-9), 3)


def down_to_step(grams: float, step_g: float) -> float:
    """The most that can be weighed of an amount without going beyond it [g].

    Parameters
    ----------
    grams : float
        At least 0 [g].
    step_g : float
        Smallest step of the scale, above 0 [g].

    Examples
    --------
    >>> down_to_step(5.25, 0.1), down_to_step(0.3, 0.1), down_to_step(0.04, 0.1)
    (5.2, 0.3, 0.0)
    """
    return round(math.floor(grams / step_g + _NEAR) * step_g, 9)


def first_half(grams: float, step_g: float) -> float:
    """The first half of a dose, as the scale shows it; what is left of the dose can be weighed too.

    Never above half of it, but for a dose of one step, which is not halved.

    Parameters
    ----------
    grams : float
        The dose, in steps of the scale [g].
    step_g : float
        Above 0 [g].

    Examples
    --------
    >>> first_half(10.5, 0.1), first_half(10.4, 0.1), first_half(0.1, 0.1), first_half(7.0, 1.0)
    (5.2, 5.2, 0.1, 3.0)
    """
    return down_to_step(grams / 2, step_g) or down_to_step(min(grams, step_g), step_g)


def grams_on_scale(grams: float, step_g: float) -> Text:
    """Grams with the decimals that a scale shows, without their unit: doses add up to their sum.

    Examples
    --------
    >>> grams_on_scale(4.25, 0.01), grams_on_scale(5.2, 0.1), grams_on_scale(7.0, 1.0)
    ('4.25', '5.2', '7')
    """
    return say("{grams:.{digits}f}", grams=grams, digits=decimals_of(step_g))


def grams_number(grams: float) -> Text:
    """Grams as one weighs them, without their unit.

    Examples
    --------
    >>> grams_number(3.0), grams_number(1.083), grams_number(12.34), grams_number(156.2)
    ('3', '1.08', '12.3', '156')
    """
    if grams >= 100:
        return say("{grams:.0f}", grams=grams)
    return say("{grams:.1f}", grams=grams) if grams >= 10 else say("{grams:.3g}", grams=grams)
