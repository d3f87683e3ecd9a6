"""Is a volume typed with an event one that the vessel can hold, by what the log says is in it?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from mustwright.batch.entries import ADDS_SUGAR, Event
from mustwright.batch.log import Standing
from mustwright.batch.progress import progress
from mustwright.batch.vessel import vessel
from mustwright.errors import ImpossibleError
from mustwright.texts import say
from mustwright.unit_system import short_volume

MORE, MORE_WITH_ADDITION = 1.25, 3.0  # times what the log says is there: beyond is a slip (assumed)


def refuse_unlikely_volume(
    what: Event, litres: float, at: datetime, stands: Sequence[Standing]
) -> None:
    """Refuse a volume far above what the log says is in the vessel: every dose would follow it.

    Parameters
    ----------
    what : Event
        About to be written.
    litres : float
        Typed with it [L].
    at : datetime
        When it happened.
    stands : sequence of Standing
        The log.

    Raises
    ------
    ImpossibleError
    """
    now = progress(stands, at)
    held_l = vessel(now, [s for s in stands if s.at <= at and not s.removed]).volume_l
    most = held_l * (MORE_WITH_ADDITION if what.what in ADDS_SUGAR else MORE)
    if held_l > 0 and litres > most:
        sheet = now.plan.sheet
        raise ImpossibleError(
            "litres",
            say(
                "needs a possible volume: by the log {volume} is in the vessel. If that is "
                "wrong, correct it first",
                volume=short_volume(held_l, sheet),
            ),
            short_volume(litres, sheet),
        )
