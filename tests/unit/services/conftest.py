"""What tests of use cases over a cellar share."""

from __future__ import annotations

import pytest

from batch_pages import Cellar
from mustwright.compose import Compose


@pytest.fixture
def cellar(tmp_path):
    """A cellar of its own, whose clock the test sets."""
    compose = Compose(tmp_path)
    yield Cellar(compose)
    compose.close()
