"""When is a finished mead worth tasting again: months after it was bottled or ended."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from mustwright.batch.entries import CLOSES
from mustwright.batch.log import Standing, is_event

TASTE_AFTER_MONTHS = (1, 3, 6, 12)  # common practice, no source
MONTH = timedelta(days=365.25 / 12)


def closed_at(events: Iterable[Standing]) -> datetime | None:
    """When the batch was first bottled or ended; None while it goes on.

    Parameters
    ----------
    events : iterable of Standing
        Those of its log that count.
    """
    return min((s.at for s in events if is_event(s, *CLOSES)), default=None)


def tasting_dates(closed: datetime) -> tuple[tuple[int, datetime], ...]:
    """Months after the end, and the moments they fall on."""
    return tuple((months, closed + months * MONTH) for months in TASTE_AFTER_MONTHS)
