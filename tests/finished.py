"""A dry batch to be finished, for tests of the bench."""

from __future__ import annotations

from batch_pages import Cellar
from batches import STRONG, plan

LANE = STRONG.replace("1.120", "1.098")


def dry_batch(cellar: Cellar, name: str = "Lane", ph: float | None = 3.5) -> str:
    """Pitched 60 days ago, at one gravity for the last four weeks."""
    of = plan(LANE)
    dry = of.must.dry_gravity
    slug = cellar.start(name, 24 * 60, plan=of).slug
    for days, gravity in ((59, 1.096), (50, 1.040), (40, 1.005), (29, dry + 0.0005),
                          (22, dry + 0.0005), (15, dry + 0.0005), (8, dry + 0.0005)):  # fmt: skip
        cellar.read(slug, 24 * days, round(gravity, 4), temperature_c=20.0, ph=ph)
    return slug
