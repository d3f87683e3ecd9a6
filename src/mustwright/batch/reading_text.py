"""How does a gravity in use come from what was read: both figures, and why they differ."""

from __future__ import annotations

from mustwright.batch.entries import REFRACTOMETER, Reading
from mustwright.batch.progress import Progress
from mustwright.must.gravity import gravity_from_brix
from mustwright.must.gravity_text import gravity_sign, gravity_text
from mustwright.texts import say
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
    refracted = read.instrument == REFRACTOMETER
    if read.brix is not None and (refracted or not gravity_sign()):
        as_gravity = gravity_text(gravity)
        if refracted:
            return say(
                "{brix:g} Brix as read, {gravity} with the alcohol made so far",
                brix=read.brix,
                gravity=as_gravity,
            )
        return say(
            "{brix:g} Brix as read, {gravity} as a gravity", brix=read.brix, gravity=as_gravity
        )
    as_read = read.gravity if read.brix is None else float(gravity_from_brix(read.brix))
    assert as_read is not None
    if abs(as_read - gravity) < SAME:
        return ""
    digits = 3 if f"{as_read:.3f}" != f"{gravity:.3f}" else 4
    return say(
        "{as_read} as read, {gravity} at {degrees}",
        as_read=gravity_text(as_read, digits),
        gravity=gravity_text(gravity, digits),
        degrees=degrees(20.0, sheet),
    )


def corrected_by_id(now: Progress) -> dict[str, float]:
    """Corrected gravity of each reading, by the id of its entry."""
    every = now.points.and_then(now.later)
    return dict(zip(every.names(), every.gravity.tolist(), strict=True))
