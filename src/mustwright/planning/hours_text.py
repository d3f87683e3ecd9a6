"""Hours after pitch, as a maker says them."""

from __future__ import annotations

import math
from functools import lru_cache

from mustwright.texts import say


def clock(hours: float) -> str:
    """Hours after pitch in words.

    Examples
    --------
    >>> clock(15.2), clock(60), clock(0)
    ('15 h', '2 days 12 h', 'at pitch')
    """
    if not math.isfinite(hours):
        return say("never")
    return _whole_hours(round(hours))


@lru_cache(maxsize=2048)  # a picture names dozens of them, and they are a few for all batches
def _whole_hours(whole: int) -> str:
    if whole == 0:
        return say("at pitch")
    if whole < 48:
        return f"{whole} h"
    days, rest = divmod(whole, 24)
    return say("{days} days", days=days) + (say(" {hours} h", hours=rest) if rest else "")
