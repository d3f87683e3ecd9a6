"""How does a gravity in use come from what was read: both figures, and why they differ."""

from __future__ import annotations

from mustwright.batch.entries import REFRACTOMETER, Reading
from mustwright.batch.progress import Progress
from mustwright.unit_system import degrees

SAME = 0.00025


def corrected_words(read: Reading, gravity: float | None, sheet: str = "") -> str:
    """What was read and what it stands for; empty where that is the same figure.

    Parameters
    ----------
    gravity : float or None
        Corrected, 20/20 °C [-].
    sheet : str
        Of the must, for the unit.

    Examples
    --------
    >>> corrected_words(Reading(gravity=1.104, sample_c=15.0), 1.1031)
    '1.104 as read, 1.103 at 20 °C'
    >>> corrected_words(Reading(gravity=1.05), 1.05)
    ''
    """
    if gravity is None or not read.has_gravity:
        return ""
    if read.brix is not None:
        why = "with the alcohol made so far" if read.instrument == REFRACTOMETER else "as a gravity"
        return f"{read.brix:g} Brix as read, {gravity:.3f} {why}"
    assert read.gravity is not None
    if abs(read.gravity - gravity) < SAME:
        return ""
    digits = 3 if f"{read.gravity:.3f}" != f"{gravity:.3f}" else 4
    at = degrees(20.0, sheet)
    return f"{read.gravity:.{digits}f} as read, {gravity:.{digits}f} at {at}"


def corrected_by_id(now: Progress) -> dict[str, float]:
    """Corrected gravity of each reading, by the id of its entry."""
    every = now.points.and_then(now.later)
    return dict(zip(every.names(), every.gravity.tolist(), strict=True))
