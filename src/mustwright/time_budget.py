"""How long may one answer take: whoever works it out looks at the time left before each piece.

Without a budget (a command, a computation behind the pages) there is no limit. What is worked out
behind the pages makes room for them at the same places (`paced_by`).
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field

from mustwright.errors import MustwrightError
from mustwright.texts import say


class TooMuchWorkError(MustwrightError):
    """What was asked would take longer than one answer may; nothing was written."""


@dataclass
class TimeBudget:
    """Processor time of one answer, counted for each thread that works on it.

    Time spent waiting, for the disk or for another thread, is not counted: a machine with much to
    do refuses no more than an idle one.

    Parameters
    ----------
    seconds : float
        What each thread may spend [s].
    """

    seconds: float
    _began: dict[int, float] = field(default_factory=dict)

    def spend(self) -> None:
        """Look at the time left.

        Raises
        ------
        TooMuchWorkError
        """
        now = time.thread_time()
        began = self._began.setdefault(threading.get_ident(), now)
        if now - began > self.seconds:
            raise TooMuchWorkError(
                say(
                    "this takes longer than {seconds:g} seconds to work out; nothing "
                    "was written. Take fewer nutrients, ingredients or protocols at "
                    "once",
                    seconds=self.seconds,
                )
            )


_BUDGET: ContextVar[TimeBudget | None] = ContextVar("time_budget", default=None)


@contextmanager
def limited_to(seconds: float) -> Iterator[None]:
    """Within it, and in threads that work for it, no answer may take longer [s]."""
    token = _BUDGET.set(TimeBudget(seconds))
    try:
        yield
    finally:
        _BUDGET.reset(token)


_PAUSE: ContextVar[Callable[[], None] | None] = ContextVar("pause", default=None)


@contextmanager
def paced_by(pause: Callable[[], None]) -> Iterator[None]:
    """Within it, `pause` is called before each piece of work of this thread."""
    token = _PAUSE.set(pause)
    try:
        yield
    finally:
        _PAUSE.reset(token)


def spend() -> None:
    """Called before each piece of work that may come many times over.

    Raises
    ------
    TooMuchWorkError
        When the budget of this answer, if it has one, is spent.
    """
    budget = _BUDGET.get()
    if budget is not None:
        budget.spend()
    pause = _PAUSE.get()
    if pause is not None:
        pause()
