"""Hypothesis the same on every machine: the same examples each run, and no clock in the verdict."""

from hypothesis import HealthCheck, settings

settings.register_profile(
    "stable",
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("stable")
