"""Trials on few vessels: what a layout can show, and exact answers."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from scipy.stats import permutation_test

from mustwright.errors import InputError
from mustwright.learning.randomisation import arms_effect, paired_effect, several_arms_p
from mustwright.learning.trial_design import plan_trial, smallest_p


def test_smallest_p_of_the_layouts():
    expected = {4: 1 / 6, 6: 1 / 20, 8: 1 / 70}
    assert {k: smallest_p(k) for k in expected} == pytest.approx(expected)
    assert smallest_p(10, paired=True) == 1 / 32
    assert smallest_p(6, 3) == pytest.approx(6 / 90)


def test_the_smallest_p_is_what_a_perfect_split_gets():
    assert arms_effect([1, 2], [3, 4]).p_one_sided == pytest.approx(smallest_p(4))
    assert arms_effect([1, 2, 3], [4, 5, 6]).p_one_sided == pytest.approx(smallest_p(6))
    assert paired_effect([1, 2, 3, 1, 2]).p_one_sided == pytest.approx(smallest_p(10, paired=True))
    assert several_arms_p([1, 1.1, 2, 2.1, 3, 3.1], [1, 1, 2, 2, 3, 3]) == pytest.approx(
        smallest_p(6, 3)
    )


def test_a_plan_says_what_four_vessels_cannot():
    plan = plan_trial(4)
    assert plan.detectable_difference is None
    assert plan.vessels_needed == 6
    assert "4 vessels no difference" in plan.message
    assert plan.spread_assumed
    six, eight = plan_trial(6), plan_trial(8)
    assert six.detectable_difference > eight.detectable_difference > 0
    own = plan_trial(8, spread=0.5)
    assert own.detectable_difference == pytest.approx(0.5 * eight.detectable_difference)
    assert not own.spread_assumed


def test_detectable_is_found_eight_times_in_ten():
    random = np.random.default_rng(2)
    difference = plan_trial(8).detectable_difference
    found = [
        arms_effect(random.normal(size=4), random.normal(size=4) + difference).p_one_sided <= 0.05
        for _ in range(500)
    ]
    assert np.mean(found) == pytest.approx(0.8, abs=3 * (0.16 / 500) ** 0.5 + 0.02)


def test_vessels_are_dealt_evenly_and_codes_give_nothing_away():
    plan = plan_trial(12, 3, seed=5)
    assert Counter(v.arm for v in plan.allocation) == {1: 4, 2: 4, 3: 4}
    assert len({v.code for v in plan.allocation}) == 12
    assert plan.allocation == plan_trial(12, 3, seed=5).allocation
    assert len({plan_trial(6, seed=s).allocation for s in range(20)}) > 10
    pairs = plan_trial(8, seed=1, paired=True).allocation
    assert [v.must for v in pairs] == [1, 1, 2, 2, 3, 3, 4, 4]
    assert all({a.arm, b.arm} == {1, 2} for a, b in zip(pairs[::2], pairs[1::2], strict=True))


def test_every_lot_is_as_likely():
    dealt = Counter(tuple(v.arm for v in plan_trial(4, seed=s).allocation) for s in range(1200))
    assert len(dealt) == 6
    assert max(dealt.values()) - min(dealt.values()) < 90  # 200 each, 13 standard error


def test_p_agrees_with_a_library():
    a, b = [9.1, 10.2, 8.7, 9.9], [8.8, 7.9, 9.0, 8.1]
    theirs = permutation_test(
        (b, a), lambda x, y: np.mean(x) - np.mean(y), alternative="less", n_resamples=np.inf
    )
    assert arms_effect(a, b).p_one_sided == pytest.approx(theirs.pvalue)
    d = [0.4, -0.1, 0.9, 0.6, 0.3, 1.1]
    signs = permutation_test(
        (d,), np.mean, permutation_type="samples", alternative="greater", n_resamples=np.inf
    )
    assert paired_effect(d).p_one_sided == pytest.approx(signs.pvalue)


@pytest.mark.parametrize("paired", [False, True])
def test_the_interval_is_what_the_test_does_not_reject(paired):
    random = np.random.default_rng(8)
    a, b = random.normal(size=5), random.normal(size=5) + 1
    result = paired_effect(b - a) if paired else arms_effect(a, b)
    tail = (1 - 0.95) / 2

    def p_below(shift: float) -> float:
        moved = paired_effect(b - shift - a) if paired else arms_effect(a, b - shift)
        return moved.p_one_sided if moved.effect < 0 else 1.0

    if paired:  # 32 draws: 2.5 % each way cannot be reached
        assert result.confidence == pytest.approx(1 - 2 / 32)
        tail = 1 / 32
    assert p_below(result.high + 1e-6) <= tail
    assert p_below(result.high - 1e-6) > tail


def test_the_interval_holds():
    random = np.random.default_rng(4)
    results = [arms_effect(random.normal(size=4), random.normal(size=4) + 2) for _ in range(400)]
    held = np.mean([r.low <= 2 <= r.high for r in results])
    assert held >= results[0].confidence - 3 * (0.03 * 0.97 / 400) ** 0.5


def test_four_vessels_tell_what_they_hold():
    result = arms_effect([9, 10], [6, 7])
    assert result.confidence == pytest.approx(2 / 3)
    assert (result.low, result.high) == (-4.0, -2.0)
    assert result.spread == pytest.approx(0.5**0.5)
    assert arms_effect([1], [2]).low is None
    assert arms_effect([1], [2]).spread is None


def test_many_vessels_are_sampled_and_say_so():
    random = np.random.default_rng(1)
    result = arms_effect(random.normal(size=12), random.normal(size=12) + 3)
    assert not result.exact
    assert result.p_one_sided < 0.001


def test_null_trials_reject_no_more_often_than_the_level():
    random = np.random.default_rng(6)
    p = [arms_effect(random.normal(size=4), random.normal(size=4)).p_two_sided for _ in range(1000)]
    assert 0.02 < np.mean(np.array(p) <= 0.05) <= 0.05 + 3 * (0.05 * 0.95 / 1000) ** 0.5


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: plan_trial(5, 2), "vessels"),
        (lambda: plan_trial(1, 2), "vessels"),
        (lambda: plan_trial(8, 1), "arms"),
        (lambda: plan_trial(9, 3, paired=True), "arms"),
        (lambda: plan_trial(8, spread=-1), "spread"),
        (lambda: arms_effect([], [1.0]), "values"),
        (lambda: arms_effect([float("nan")], [1.0]), "values"),
        (lambda: paired_effect([]), "values"),
    ],
)
def test_bad_input_names_the_field(call, field):
    with pytest.raises(InputError) as raised:
        call()
    assert raised.value.field == field
