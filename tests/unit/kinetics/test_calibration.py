"""The studies behind the fit: what they count as known, and which spreads they move."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from mustwright.kinetics.parameters import population

ROOT = Path(__file__).parents[3]


@pytest.fixture(scope="module")
def studies() -> Iterator[dict[str, ModuleType]]:
    """The modules of `calibration`, which is no part of the installed tool."""
    sys.path.insert(0, str(ROOT))
    names = ("honey", "score_fit", "evaluate")
    yield {name: importlib.import_module(f"calibration.{name}") for name in names}
    sys.path.remove(str(ROOT))


def test_rounds_of_the_stirred_must_have_a_standard_error(studies: dict[str, ModuleType]) -> None:
    seen = studies["honey"].rounds()
    assert seen.count == 4
    assert seen.co2_g_l[-1] == pytest.approx((91.99 + 98.89 + 94.44 + 98.1064) / 4)
    assert seen.repeat_sd_g_l == pytest.approx([3.86, 3.65, 1.38, 2.81, 3.23], abs=0.01)
    assert seen.error_g_l == pytest.approx(seen.repeat_sd_g_l / 2)


def test_what_would_be_measured_is_as_wide_as_both_together(
    studies: dict[str, ModuleType],
) -> None:
    made = np.random.default_rng(1).normal(80.0, 3.0, (2, 20_000))
    told = studies["evaluate"].measured(made, np.array([0.0, 4.0]))
    assert np.array_equal(told[0], made[0])
    assert told[1].std() == pytest.approx(5.0, rel=0.02)


def test_each_effect_is_widened_with_the_start_or_the_rest_or_is_left_alone(
    studies: dict[str, ModuleType],
) -> None:
    score_fit = studies["score_fit"]
    ruled = {name for names in score_fit.SPREADS.values() for name in names}
    every = set(population("unknown").spread)
    assert set(score_fit.START.alone) == every - ruled
    assert set(score_fit.START.early) <= ruled
    factors = {name: score_fit.START.factor(name, 1.6, 0.6) for name in every}
    assert factors["lag"] == 1.6
    assert factors["shape_b"] == 0.6
    assert factors["tolerance_factor"] == 1.0
    assert score_fit.EARLY.factor("tolerance_factor", 1.6, 0.6) == 0.6
