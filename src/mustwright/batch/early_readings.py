"""Which readings are dated so long before the pitch that they do not count, and in which words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, tzinfo

from mustwright import data
from mustwright.batch.alert import Finding, finding
from mustwright.batch.duration_text import hours_words
from mustwright.batch.series import Series, Trace
from mustwright.must.gravity_text import gravity_text
from mustwright.texts import Text, say, say_n

RULE = "early_reading"
SEVERITY = 40  # said on the page of the batch, but never its next step


@dataclass(frozen=True)
class EarlyReading:
    """A reading that does not count for its date.

    Parameters
    ----------
    at : datetime
    hours : float
        Before the pitch [h].
    gravity, ph : float or None
        What it read; gravity corrected, apparent, 20/20 °C [-].
    """

    at: datetime
    hours: float
    gravity: float | None = None
    ph: float | None = None


def counts_from_h() -> float:
    """From which hour after pitch on readings count: what is older is of a different must [h]."""
    return -float(data.load("watch")["rule"][RULE]["counts_before_h"]["value"])


def early_readings(
    gravities: Series, acid: Trace, pitched: datetime | None
) -> tuple[EarlyReading, ...]:
    """Readings of gravity or pH from long before the pitch, in order of time."""
    if pitched is None:
        return ()
    most = counts_from_h()
    found: dict[datetime, EarlyReading] = {}
    for point in gravities[: len(gravities) - len(gravities.from_hour(most))]:
        found[point.at] = EarlyReading(point.at, -point.hours, point.gravity)
    first = acid.first
    if first is not None and (first - pitched).total_seconds() / 3600 < most:
        for at, ph in acid:
            hours = (at - pitched).total_seconds() / 3600
            if hours < most and at not in found:
                found[at] = EarlyReading(at, -hours, ph=ph)
    return tuple(found[at] for at in sorted(found))


def early_words(read: EarlyReading, zone: tzinfo) -> Text:
    """That one reading does not count, and when it is dated."""
    what = (
        say("pH {ph:.2f}", ph=read.ph)
        if read.gravity is None
        else say("gravity {gravity}", gravity=gravity_text(read.gravity))
    )
    return say(
        "The reading of {reading} is dated {at:%Y-%m-%d}, {time} before the pitch, and does not "
        "count. Check the date.",
        reading=what,
        at=read.at.astimezone(zone),
        time=hours_words(read.hours),
    )


def early_finding(early: tuple[EarlyReading, ...], zone: tzinfo) -> Finding | None:
    """What the watch says of them; None where there are none."""
    if not early:
        return None
    words = early_words(early[0], zone)
    if len(early) > 1:
        words += " " + say_n(
            "So is {count} more, the latest dated {last:%Y-%m-%d}.",
            "So are {count} more, the latest dated {last:%Y-%m-%d}.",
            len(early) - 1,
            last=early[-1].at.astimezone(zone),
        )
    return finding(RULE, SEVERITY, 0.99, words)
