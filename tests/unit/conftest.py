"""What the tests of planning, batches and use cases share."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from fake_cellar import FakeCellar
from mustwright.kinetics.ready import warm_up

SHEET = """
[must]
volume = "10 L"
gravity = "1.090"
temperature = "20 C"
[[must.ingredient]]
kind = "honey"
amount = "solve"
[[must.ingredient]]
kind = "water"
amount = "fill"
[yeast]
kind = "low-demand neutral"
amount = "5 g"
"""


@pytest.fixture(scope="session")
def forecasts():
    """The forecast, compiled."""
    warm_up()


@pytest.fixture
def bare_cellar():
    """A cellar with nothing in it."""
    return FakeCellar(lambda: datetime(2031, 5, 1, tzinfo=UTC))


@pytest.fixture(scope="session")
def sheet():
    """A plain honey must of 10 L at 1.090."""
    return SHEET
