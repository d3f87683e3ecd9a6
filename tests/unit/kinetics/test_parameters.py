"""How far an effect lies from its centre: tails, and what they leave as it was."""

from __future__ import annotations

import numpy as np
import pytest

from mustwright.kinetics.parameters import EFFECTS, HEAVY_TAILED, SHAPE, deviation


@pytest.mark.parametrize("effect", HEAVY_TAILED)
def test_effects_of_the_pace_have_heavy_tails_and_the_band_of_a_normal_number(effect: str) -> None:
    z = np.linspace(-5.0, 5.0, 101)
    far = deviation(effect, z)
    assert np.all(np.diff(far) > 0)
    assert far == pytest.approx(-far[::-1])
    assert deviation(effect, 1.6449) == pytest.approx(1.6449)
    assert deviation(effect, 3.0) > 4.5
    assert deviation(effect, 0.5) < 0.5


def test_the_others_are_as_drawn_and_the_shape_is_wider_yet() -> None:
    for effect in EFFECTS:
        if effect in SHAPE:
            assert deviation(effect, 2.0) == pytest.approx(3.2)
        elif effect not in HEAVY_TAILED:
            assert deviation(effect, 2.0) == 2.0
