"""A stretch of time in words."""

from __future__ import annotations

from mustwright.texts import say


def hours_words(hours: float) -> str:
    """Hours; days from two days on.

    Examples
    --------
    >>> hours_words(7.2), hours_words(60.0)
    ('7 h', '2 days')
    """
    if hours < 48:
        return say("{hours:.0f} h", hours=hours)
    return say("{days:.0f} days", days=hours / 24)
