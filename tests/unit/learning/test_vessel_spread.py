"""How much vessels of one must differ, learned from open trials."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from mustwright.learning.tasting_text import spread_sentence
from mustwright.learning.trial import TrialArm, new_trial, opened, scored
from mustwright.learning.trial_design import VesselSpread, plan_trial
from mustwright.learning.vessel_spread import FEWEST_FREEDOM, vessel_spread

NOW = datetime(2031, 5, 1, tzinfo=UTC)
ARMS = (TrialArm("a"), TrialArm("b"))


def done(values_by_arm, paired=False, measure="score", seed=3):
    """An open trial whose arms got these values, each in the order of its vessels."""
    count = sum(len(v) for v in values_by_arm)
    trial = new_trial("t", "other", ARMS, count, seed, NOW, paired)
    left = [list(v) for v in values_by_arm]
    values = {v.code: left[v.arm - 1].pop(0) for v in trial.vessels}
    return opened(scored(trial, values, measure), NOW)


def test_within_the_arms_pooled():
    one, other = done([[1.0, 2.0, 3.0], [7.0, 7.0, 10.0]]), done([[4.0, 6.0], [0.0, 0.0]])
    found = vessel_spread([one, other], "score")
    squares = 2.0 + 6.0 + 2.0 + 0.0
    assert found == VesselSpread("score", pytest.approx((squares / 6) ** 0.5), 6, 2)
    assert vessel_spread([other, one], "score") == found


def test_the_difference_of_arms_counts_for_nothing():
    near, far = (
        done([[1.0, 2.0, 3.0], [1.0, 2.0, 3.0]]),
        done([[1.0, 2.0, 3.0], [91.0, 92.0, 93.0]]),
    )
    assert vessel_spread([near], "score").sd == pytest.approx(vessel_spread([far], "score").sd)


def test_pairs_hold_the_spread_of_two_vessels():
    """Made-up pairs: musts differ a lot, vessels by 0.5."""
    random = np.random.default_rng(5)
    trials = []
    for seed in range(40):
        musts = 10 * random.standard_normal(5)
        a, b = (musts + 0.5 * random.standard_normal(5) for _ in "ab")
        trials.append(done([list(a), list(b + 2)], paired=True, seed=seed))
    found = vessel_spread(trials, "score")
    assert found.freedom == 40 * 4
    assert found.sd == pytest.approx(0.5, rel=0.12)  # two standard errors of 160 degrees


def test_what_is_closed_of_another_measure_or_too_little_says_nothing():
    whole = done([[1.0, 2.0, 3.0], [7.0, 8.0, 9.0]])
    assert vessel_spread([replace(whole, opened_at=None)], "score") is None
    assert vessel_spread([whole], "days") is None
    assert vessel_spread([done([[1.0, 2.0], [3.0, 4.0]])], "score") is None
    assert FEWEST_FREEDOM == 3
    assert vessel_spread([done([[1.0, 1.0, 1.0], [2.0, 2.0, 2.0]])], "score") is None


def test_a_layout_is_then_said_in_the_unit_of_the_measure():
    learned = VesselSpread("days until two thirds of the sugar are gone", 0.8, 6, 2)
    plan, bare = plan_trial(8, spread=learned), plan_trial(8)
    assert plan.detectable_difference == pytest.approx(0.8 * bare.detectable_difference)
    assert plan.learned == learned
    assert not plan.spread_assumed
    words = spread_sentence(plan)
    assert "In your own 2 trials" in words
    assert f"with 8 vessels a difference of {plan.detectable_difference:.2g}" in words
    assert "not known yet" in spread_sentence(bare)
    assert "no difference can be shown" in spread_sentence(plan_trial(4, spread=learned))
    assert "as you say" in spread_sentence(plan_trial(8, spread=0.8))
