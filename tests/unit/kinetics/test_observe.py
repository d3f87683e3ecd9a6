"""Fast gravity and Brix against the functions of the must package."""

from __future__ import annotations

import numpy as np

from mustwright.kinetics import observe
from mustwright.must.gravity import brix_from_gravity, gravity_from_composition


def test_gravity_equals_the_must_package() -> None:
    random = np.random.default_rng(4)
    extract, ethanol = random.uniform(0, 600, 5000), random.uniform(0, 175, 5000)
    fast = observe.gravity(extract, ethanol)
    assert np.max(np.abs(fast - gravity_from_composition(extract, ethanol))) < 3e-5


def test_brix_equals_the_must_package() -> None:
    gravity = np.linspace(0.975, 1.25, 2000)
    assert np.max(np.abs(observe.brix(gravity) - brix_from_gravity(gravity))) < 0.005


def test_a_scale_shows_less_than_is_made_at_first_and_a_little_more_at_the_end() -> None:
    made = np.array([0.0, 0.5, 95.0])
    gone = observe.weight_lost(made, 0.0)
    assert gone[0] == 0.0
    assert 0.0 < gone[1] < 0.2  # most of the first of it stays dissolved
    assert gone[2] == 95.0 - observe.DISSOLVED_CO2_G_L
    assert observe.weight_lost(made, observe.CARRIED)[2] == gone[2] * 1.02
