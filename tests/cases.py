"""How many cases a test draws: so many as it names, times MUSTWRIGHT_CASES where that is set.

``./check fast`` sets a tenth, ``./check`` a fifth, CI leaves it at one;
``MUSTWRIGHT_CASES=10 pytest ...`` draws ten times as many. Between two edits a test whose cases are
named and dear runs a few of them only (`some_of`). Below one, a test with many named cases runs a
spread share of them (`spread_of`), and what is asked of many pages is asked on a laptop of one and
on a phone of the next (`is_brief`).
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import Any

import pytest
from hypothesis import settings

VARIABLE = "MUSTWRIGHT_CASES"
FEWEST = 3
BETWEEN_EDITS = 0.1


def _scale() -> float:
    return float(os.environ.get(VARIABLE) or 1)


def scaled(count: int) -> int:
    """So many as the run wants of `count`; a few at least."""
    return max(min(count, FEWEST), round(count * _scale()))


def is_brief() -> bool:
    """Whether fewer cases are run than in CI."""
    return _scale() < 1


def some_of(named: Sequence[Any], kept: int = 1) -> Sequence[Any]:
    """All named cases of a dear test; between two edits only `kept`, spread over them."""
    if _scale() > BETWEEN_EDITS or len(named) <= kept:
        return named
    return [named[k * len(named) // kept] for k in range(kept)]


# Of the named cases of a test so many are run, and a few at least, by the scale of the run.
SPREAD = ((BETWEEN_EDITS, 0.2, 4), (0.4, 0.3, 6))


def spread_of(items: Sequence[pytest.Item]) -> list[pytest.Item]:
    """Items of a collection to leave out of a run that draws fewer cases than CI.

    Of each test with many named cases a share is run, evenly spread from the first on; published
    values are all asked, and pages in a browser are thinned out elsewhere. Which ones is the same
    in every process and every run.
    """
    share, least = next(((part, few) for most, part, few in SPREAD if _scale() <= most), (1.0, 0))
    of_test: dict[str, list[pytest.Item]] = {}
    for item in items:
        if hasattr(item, "callspec") and not {"reference", "e2e"} & set(item.path.parts):
            of_test.setdefault(item.nodeid.partition("[")[0], []).append(item)
    left_out = []
    for named in of_test.values():
        kept = max(least, round(len(named) * share))
        if len(named) > kept:
            run = {k * len(named) // kept for k in range(kept)}
            left_out += [item for k, item in enumerate(named) if k not in run]
    return left_out


def cases(count: int, **more: Any) -> settings:
    """So many drawn cases, scaled, with other settings as given."""
    return settings(max_examples=scaled(count), **more)
