"""Musts the kinetic tests share."""

from __future__ import annotations

import pytest

from mustwright.kinetics.inputs import Conditions, MustAtPitch, NitrogenPulse, PulseTrigger


@pytest.fixture(scope="session")
def honey_must() -> MustAtPitch:
    """A honey must of gravity 1.100 with what honey brings."""
    return MustAtPitch.from_gravity(1.100, 19.0, amino_n_mg_l=18.0, ammonium_n_mg_l=7.0)


@pytest.fixture(scope="session")
def thirds() -> tuple[NitrogenPulse, ...]:
    """Three equal feeds on days 0, 2 and 4."""
    return tuple(NitrogenPulse(PulseTrigger(at_h=t), 30.0, 35.0) for t in (0.0, 48.0, 96.0))


@pytest.fixture(scope="session")
def cellar() -> Conditions:
    """20 °C, default yeast."""
    return Conditions(20.0)
