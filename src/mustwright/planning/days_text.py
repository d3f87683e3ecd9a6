"""How long until dry, in words: whole days, and what lies beyond the days that are looked at."""

from __future__ import annotations

import math

from mustwright.texts import Text, say

LOOKED_DAYS = 42  # how far a forecast looks
WHOLE_FROM = 1.95  # what is quicker is said to a tenth of a day


def days_number(days: float) -> Text:
    """Days until dry, as a number for a sentence or a narrow table.

    Examples
    --------
    >>> days_number(3.9), days_number(1.44), days_number(float("inf"))
    ('4', '1.4', 'over 42')
    """
    if not math.isfinite(days):
        return say("over {days}", context="days", days=LOOKED_DAYS)
    if days < WHOLE_FROM:
        return say("{days:.1f}", days=days)
    return say("{days:.0f}", days=days)


def days_range(low: float | None, high: float | None) -> Text:
    """From how many days to how many; one number where both ends are the same.

    Examples
    --------
    >>> days_range(3.9, float("inf")), days_range(4.1, 4.4)
    ('4 to over 42', '4')
    """
    ends = [days_number(math.inf if end is None else end) for end in (low, high)]
    return ends[0] if ends[0] == ends[1] else say("{low} to {high}", low=ends[0], high=ends[1])
