"""On which cores does a thread work: those that hand over to one another on one, runs on all.

Python lets one thread of a process work at a time. Where the threads that answer requests sleep and
wake on several cores, each handing over wakes a core that had gone to sleep: it costs a quarter of
the processor time of a page (see the page on load). On one core they simply take turns.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from threading import Thread

_every: set[int] = set()  # of this process; empty as long as nobody is kept to one core


def keep_to_one_core(threads: Iterable[Thread]) -> None:
    """Let these threads, and those they start from now on, share one core.

    Nothing happens with a single core, or where the system does not let a process choose.
    """
    if not hasattr(os, "sched_setaffinity"):
        return
    cores = _every or os.sched_getaffinity(0)
    if len(cores) < 2:
        return
    _every.update(cores)
    for thread in threads:
        if thread.native_id is not None:
            with suppress(OSError):  # it has ended, or this is not allowed here
                os.sched_setaffinity(thread.native_id, {max(cores)})


@contextmanager
def every_core() -> Iterator[None]:
    """Give the thread that asks every core for a while, and the threads it starts meanwhile."""
    if not _every:
        yield
        return
    before = os.sched_getaffinity(0)
    with suppress(OSError):
        os.sched_setaffinity(0, _every)
    try:
        yield
    finally:
        with suppress(OSError):
            os.sched_setaffinity(0, before)
