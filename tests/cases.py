"""How many cases a test draws: so many as it names, times MUSTWRIGHT_CASES where that is set.

``./check fast`` sets a tenth; ``MUSTWRIGHT_CASES=10 pytest ...`` draws ten times as many.
"""

from __future__ import annotations

import os
from typing import Any

from hypothesis import settings

VARIABLE = "MUSTWRIGHT_CASES"
FEWEST = 5


def scaled(count: int) -> int:
    """So many as the run wants of `count`; a few at least."""
    return max(min(count, FEWEST), round(count * float(os.environ.get(VARIABLE) or 1)))


def cases(count: int, **more: Any) -> settings:
    """So many drawn cases, scaled, with other settings as given."""
    return settings(max_examples=scaled(count), **more)
