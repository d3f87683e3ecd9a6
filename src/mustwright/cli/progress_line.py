"""How far a long command is, on standard error; Ctrl-C stops it."""

from __future__ import annotations

import time

from mustwright.cli.speech import note
from mustwright.how_far import Progress
from mustwright.texts import say

STEPS = 4  # lines in all, so that a log file stays short
QUIET_S = 1.0  # what is done by then needs no word


def on_stderr(what: str) -> Progress:
    """A progress that says each quarter once, after the first second.

    Parameters
    ----------
    what : str
        What is being done, as in "searching".
    """
    said, began = [0], time.monotonic()

    def told(part: float) -> bool:
        step = int(part * STEPS + 1e-9)
        if step > said[0] and time.monotonic() - began > QUIET_S:
            said[0] = step
            note(say("{what}, {part:.0%}", what=what, part=step / STEPS))
        return True

    return told
