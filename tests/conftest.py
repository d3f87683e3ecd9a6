"""Hypothesis the same on every machine: the same examples each run, and no clock in the verdict.

And the hooks of `deviations`, which sum up how far reference values are missed.
"""

import pytest
from hypothesis import HealthCheck, settings

from cases import cases, spread_of
from deviations import (
    pytest_configure,
    pytest_sessionfinish,
    pytest_terminal_summary,
    pytest_testnodedown,
)

__all__ = [
    "pytest_configure",
    "pytest_sessionfinish",
    "pytest_terminal_summary",
    "pytest_testnodedown",
]


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Outside CI a test with many named cases runs a spread share of them."""
    if left_out := set(spread_of(items)):
        config.hook.pytest_deselected(items=list(left_out))
        items[:] = [item for item in items if item not in left_out]


settings.register_profile(
    "stable",
    cases(100),  # where a test names no number
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("stable")
