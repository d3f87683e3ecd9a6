"""Whose turn is it: work behind the pages goes on while nobody waits for an answer.

Work is done in pieces. Before each, whoever works gives way until all that was asked for is
answered; but no longer than a number of times what its last piece took, so that it ends within a
few seconds even where somebody waits all the time.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

PATIENCE = 8.0  # times the processor time of the last piece, while somebody waits
LONGEST_S = 0.5  # for one piece


class PagesFirst:
    """Counts who waits for an answer, and lets work behind the pages go on between them.

    Parameters
    ----------
    moment : callable
        Gives the time that passes [s].
    worked : callable
        Gives the processor time that the thread which asks has taken [s].
    """

    def __init__(
        self,
        moment: Callable[[], float] = time.monotonic,
        worked: Callable[[], float] = time.thread_time,
    ) -> None:
        self._moment, self._worked = moment, worked
        self._change = threading.Condition()
        self._waiting = 0
        self._ended = False
        self._since: float | None = None  # processor time when the last piece began

    @contextmanager
    def answering(self) -> Iterator[None]:
        """Within it, somebody waits for an answer."""
        with self._change:
            self._waiting += 1
        try:
            yield
        finally:
            with self._change:
                self._waiting -= 1
                if not self._waiting:
                    self._change.notify_all()

    @property
    def waiting(self) -> int:
        """How many wait for an answer."""
        return self._waiting

    def begin(self) -> None:
        """A job begins in this thread; what was worked before it does not count."""
        self._since = self._worked()

    def give_way(self) -> None:
        """Wait until nobody waits for an answer, or long enough for the piece just done."""
        piece_s = 0.0 if self._since is None else self._worked() - self._since
        until = self._moment() + min(PATIENCE * max(piece_s, 0.0), LONGEST_S)
        with self._change:
            while self._waiting and not self._ended and (left := until - self._moment()) > 0:
                self._change.wait(left)
        self._since = self._worked()

    def end(self, ended: bool = True) -> None:
        """Wait for nobody from now on; or again, if it is not the end."""
        with self._change:
            self._ended = ended
            self._change.notify_all()
