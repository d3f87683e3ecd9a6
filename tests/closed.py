"""Batches that are finished and closed, for tests of what a cellar learns."""

from __future__ import annotations

from batch_pages import Cellar
from batches import CLOVER, plan

SLOW = ((40, 1.099), (96, 1.091), (168, 1.078), (264, 1.062), (384, 1.044), (552, 1.022))
QUICK = ((24, 1.088), (48, 1.064), (72, 1.044), (96, 1.028), (144, 1.008), (216, 0.997))


def closed_batch(
    cellar: Cellar, name: str, course=SLOW, hours: float = 720, protocol: str | None = None
) -> str:
    """Pitched a month ago, read as it went, and bottled now."""
    of = plan(CLOVER, protocol) if protocol else plan(CLOVER)
    slug = cellar.start(name, hours, plan=of).slug
    for at, gravity in course:
        cellar.read(slug, hours - at, gravity, temperature_c=20.0)
    cellar.event(slug, 0, "bottled")
    return slug
