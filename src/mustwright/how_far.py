"""How far is a piece of work, and is it to go on: one way to tell it and to stop it.

Whatever takes over a second is given a `Progress`: the search for a plan, a restore, an import.
"""

from __future__ import annotations

from collections.abc import Callable

from mustwright.errors import MustwrightError
from mustwright.texts import say

Progress = Callable[[float], bool]  # told how far (0 to 1); says whether to go on


class StoppedError(MustwrightError):
    """The work was stopped before it was done."""


def go_on(_part: float) -> bool:
    """Nobody watches, nobody stops it."""
    return True


def tell(progress: Progress, part: float) -> None:
    """Say how far it is.

    Parameters
    ----------
    progress : callable
    part : float
        From 0 to 1.

    Raises
    ------
    StoppedError
        Where it is not to go on.

    Examples
    --------
    >>> tell(go_on, 0.5)
    >>> tell(lambda part: part < 0.5, 0.5)
    Traceback (most recent call last):
    mustwright.how_far.StoppedError: It was stopped.
    """
    if not progress(part):
        raise StoppedError(say("It was stopped."))


def part_of(progress: Progress, low: float, high: float) -> Progress:
    """The progress of a piece that is the stretch from low to high of the whole.

    Examples
    --------
    >>> seen = []
    >>> part_of(lambda part: seen.append(part) is None, 0.5, 1.0)(0.5)
    True
    >>> seen
    [0.75]
    """
    return lambda part: progress(low + (high - low) * part)
