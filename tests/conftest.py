"""Hypothesis the same on every machine: the same examples each run, and no clock in the verdict.

And the hooks of `deviations`, which sum up how far reference values are missed.
"""

from hypothesis import HealthCheck, settings

from cases import cases
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

settings.register_profile(
    "stable",
    cases(100),  # where a test names no number
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("stable")
