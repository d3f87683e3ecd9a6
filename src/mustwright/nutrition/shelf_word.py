"""How a protocol names one jar of the maker's shelf, whatever its kind: ``shelf:my_jar``."""

from __future__ import annotations

import re

OF_SHELF = re.compile(r"shelf:[a-z0-9_-]{1,80}")


def word_of(jar: str) -> str:
    """The word for a jar by its id.

    Examples
    --------
    >>> word_of("my_blend")
    'shelf:my_blend'
    """
    return f"shelf:{jar}"
