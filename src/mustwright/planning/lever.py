"""What is a lever: one thing a maker can move, and what it would do."""

from __future__ import annotations

from dataclasses import dataclass

from mustwright.figure import Figure


@dataclass(frozen=True)
class Lever:
    """One thing moved a step.

    Parameters
    ----------
    name : str
    change : str
        What is changed from what to what.
    chance_of_dry : Figure
        With the change.
    days_to_dry : Figure
        Middle, 5 and 95 % of members [d].
    """

    name: str
    change: str
    chance_of_dry: Figure
    days_to_dry: Figure


@dataclass(frozen=True)
class Levers:
    """What would matter most.

    Parameters
    ----------
    as_planned : Lever
        Nothing moved.
    moved : tuple of Lever
        The one that brings most first.
    words : str
        The upshot in a sentence.
    """

    as_planned: Lever
    moved: tuple[Lever, ...]
    words: str
