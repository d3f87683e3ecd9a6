"""A stretch of time in words."""

from __future__ import annotations


def hours_words(hours: float) -> str:
    """Hours; days from two days on.

    Examples
    --------
    >>> hours_words(7.2), hours_words(60.0)
    ('7 h', '2 days')
    """
    return f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} days"
