"""When feeding ends: one answer for a plan's forecast and for the batch that follows the plan."""

from __future__ import annotations

from collections.abc import Iterable

from mustwright import data

LATE_ROOM = 0.05  # of the sugar: a feed due at the last moment is not left out for half an hour


def last_moment(stated: float | None, sugar_used: Iterable[float]) -> float:
    """Fraction of the sugar after which nothing is fed: the protocol's, else the usual one.

    A protocol that is silent and feeds later than usual is taken at its word.

    Parameters
    ----------
    stated : float or None
        By the protocol's conditions, 0 to 1 [-].
    sugar_used : iterable of float
        Fraction of the sugar at which each live feed is expected, 0 to 1 [-].

    Returns
    -------
    float
        0 to 1 [-].
    """
    if stated is not None:
        return stated
    usual = float(data.load("watch")["refit"]["no_nitrogen_after_sugar_used"]["value"])
    return max([usual, *sugar_used])


def too_late_below(last: float) -> float:
    """Share of the sugar left [-] below which a feed that falls due is left out.

    Parameters
    ----------
    last : float
        Of `last_moment`, 0 to 1 [-].

    Returns
    -------
    float
        0 to 1 [-].
    """
    return min(max(1 - last - LATE_ROOM, 0.0), 1.0)
