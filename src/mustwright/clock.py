"""What time is it, and did the clock of this machine jump since it was last asked?"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from mustwright.texts import say

JUMP = timedelta(minutes=2)


def utc_now() -> datetime:
    """The present moment [UTC]."""
    return datetime.now(UTC)


def steady_s() -> float:
    """Seconds that only go forward, while the machine sleeps too where that is counted [s]."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)


class WatchedClock:
    """The present moment, from a clock that is compared with one nobody can set.

    Parameters
    ----------
    say : callable
        Told in one sentence when the clock has jumped.
    clock, steady : callable
        The clock [UTC], and seconds that only go forward [s].
    """

    def __init__(
        self,
        say: Callable[[str], None],
        clock: Callable[[], datetime] = utc_now,
        steady: Callable[[], float] = steady_s,
    ) -> None:
        self._say, self._clock, self._steady = say, clock, steady
        self._last: tuple[datetime, float] | None = None
        self._lock = threading.Lock()
        self.jumped = ""  # the last jump, in words

    def __call__(self) -> datetime:
        """The present moment."""
        with self._lock:
            now, steady = self._clock(), self._steady()
            last, self._last = self._last, (now, steady)
        if last is not None:
            expected = last[0] + timedelta(seconds=steady - last[1])
            if abs(now - expected) > JUMP:
                self.jumped = say(
                    "the clock of this machine jumped from {expected:%Y-%m-%d "
                    "%H:%M:%S} to {now:%Y-%m-%d %H:%M:%S} UTC: see that it is "
                    "right, since times written before and after do not fit each "
                    "other",
                    expected=expected,
                    now=now,
                )
                self._say(self.jumped)
        return now
