"""Tasting statistics: what few tasters can show, and that nothing is found where nothing is."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mustwright.errors import InputError
from mustwright.learning.d_prime import (
    GUESSING,
    TESTS,
    correct_share_from_d_prime,
    d_prime,
    d_prime_from_correct_share,
)
from mustwright.learning.discrimination import (
    critical_number,
    judge_panel,
    p_value,
    plan_panel,
    power,
    recommended_tasters,
    similarity,
)
from mustwright.learning.ranking import EXACT, SIMULATED, judge_ranking
from mustwright.learning.sequential import sequential_course, sequential_lines

# Level and power as measured on a prototype (shared notes), by tasters.
TRIANGLES = {
    3: (0.037, (0.15, 0.30, 0.51)),
    5: (0.045, (0.23, 0.46, 0.74)),
    6: (0.018, (0.14, 0.35, 0.66)),
    12: (0.019, (0.26, 0.63, 0.93)),
}


@pytest.mark.parametrize("tasters", TRIANGLES)
def test_true_level_and_power_of_a_triangle(tasters):
    plan = plan_panel("triangle", tasters)
    level, powers = TRIANGLES[tasters]
    assert plan.true_alpha == pytest.approx(level, abs=5e-4)
    assert tuple(plan.power.values()) == pytest.approx(powers, abs=5e-3)


def test_power_does_not_rise_with_every_taster():
    assert power("triangle", 5, 0.5) > power("triangle", 6, 0.5)
    assert power("triangle", 7, 0.5) > power("triangle", 8, 0.5)
    assert plan_panel("triangle", 6).best_of_these == 5
    assert plan_panel("triangle", 8).best_of_these == 7


def test_too_few_can_show_nothing():
    for tasters in range(1, 6):
        assert critical_number("paired", tasters, sided="two") is None
    assert critical_number("paired", 6, sided="two") == 6
    plan = plan_panel("triangle", 2)
    assert (plan.critical, plan.true_alpha, plan.best_of_these) == (None, 0.0, None)


@pytest.mark.parametrize("test", TESTS)
@pytest.mark.parametrize("sided", ["one", "two"])
def test_the_level_is_kept_and_critical_is_the_first_that_reaches_it(test, sided):
    for tasters in range(1, 40):
        critical = critical_number(test, tasters, 0.05, sided)
        assert power(test, tasters, 0.0, 0.05, sided) <= 0.05 + 1e-12
        if critical is not None:
            assert p_value(test, tasters, critical, sided) <= 0.05
            assert p_value(test, tasters, critical - 1, sided) > 0.05


def test_recommended_is_the_first_that_is_strong_enough():
    n = recommended_tasters("triangle")
    assert power("triangle", n, 0.5) >= 0.8
    assert all(power("triangle", k, 0.5) < 0.8 for k in range(1, n))


def test_a_thousand_panels_that_taste_nothing():
    """Rejections among 1,000 simulated null panels, at most the level (and three errors)."""
    random = np.random.default_rng(17)
    slack = 3 * (0.05 * 0.95 / 1000) ** 0.5
    for test, tasters in (("triangle", 5), ("paired", 8), ("duo-trio", 9), ("tetrad", 12)):
        counts = random.binomial(tasters, GUESSING[test], 1000)
        found = np.mean([p_value(test, tasters, int(k)) <= 0.05 for k in counts])
        assert found <= 0.05 + slack, test
    tables = random.permuted(np.tile(np.arange(1, 5), (1000, 5, 1)), axis=2)
    results = [judge_ranking(table.tolist()) for table in tables]
    assert np.mean([r.p <= 0.05 for r in results]) <= 0.05 + slack
    assert np.mean([r.page_p <= 0.05 for r in results]) <= 0.05 + slack
    assert np.mean([r.p <= 0.05 for r in results]) > 0.01  # and it does reject


@given(st.sampled_from(TESTS), st.floats(0.05, 5))
def test_d_prime_goes_there_and_back(test, distance):
    share = correct_share_from_d_prime(test, distance)
    assert GUESSING[test] < share < 1
    assert d_prime_from_correct_share(test, share) == pytest.approx(distance, abs=1e-5)


@pytest.mark.parametrize("test", TESTS)
def test_d_prime_by_simulated_tasters(test):
    """Share right of 40,000 simulated tasters against the formula: an oracle without integrals."""
    random = np.random.default_rng(5)
    d, n = 1.3, 40_000
    a, b = random.standard_normal((n, 2)), random.standard_normal((n, 2)) + d
    if test == "paired":
        right = a[:, 0] < b[:, 0]
    elif test == "duo-trio":
        right = np.abs(a[:, 0] - a[:, 1]) < np.abs(a[:, 0] - b[:, 0])
    elif test == "triangle":
        same = np.abs(a[:, 0] - a[:, 1])
        right = (same < np.abs(a[:, 0] - b[:, 0])) & (same < np.abs(a[:, 1] - b[:, 0]))
    else:
        right = (a.max(axis=1) < b.min(axis=1)) | (b.max(axis=1) < a.min(axis=1))
    assert np.mean(right) == pytest.approx(correct_share_from_d_prime(test, d), abs=0.008)


@pytest.mark.parametrize("tasters", [3, 6, 12])
def test_the_interval_of_d_prime_holds(tasters):
    """Exact coverage over all counts, at least 95 % at any distance."""
    from scipy.stats import binom

    found = [d_prime("triangle", tasters, k) for k in range(tasters + 1)]
    for distance in (0.0, 0.7, 1.5, 3.0):
        share = correct_share_from_d_prime("triangle", distance)
        held = sum(
            binom.pmf(k, tasters, share)
            for k, r in enumerate(found)
            if r.low <= distance + 1e-9 and (r.high is None or distance <= r.high + 1e-9)
        )
        assert held >= 0.95 - 1e-9


def test_ends_of_the_scale():
    all_right = judge_panel("triangle", 5, 5)
    assert all_right.d_prime.value is None
    assert all_right.d_prime.high is None
    assert all_right.d_prime.low > 1
    none = judge_panel("triangle", 5, 0)
    assert (none.p, none.d_prime.value, none.d_prime.se) == (1.0, 0.0, None)
    lost = judge_panel("paired", 10, 1)
    assert lost.d_prime.value < 0
    assert lost.p == pytest.approx(2 * 11 / 1024)


def test_similarity_is_refused_where_the_panel_cannot_show_it():
    small = similarity("triangle", 12)
    assert (small.most_correct, small.possible) == (3, False)
    assert "at most 3" in small.message
    assert "guessing alone gives 4" in small.message
    assert similarity("triangle", 3).most_correct is None
    assert similarity("triangle", 60).possible


def test_bad_input_names_the_field():
    for call, field in (
        (lambda: p_value("square", 5, 3), "test"),
        (lambda: p_value("triangle", 5, 6), "correct"),
        (lambda: p_value("triangle", 0, 0), "tasters"),
        (lambda: critical_number("triangle", 5, 0.0), "alpha"),
        (lambda: p_value("paired", 5, 3, "three"), "sided"),
    ):
        with pytest.raises(InputError) as raised:
            call()
        assert raised.value.field == field


def brute_force(table: list[list[float]]) -> tuple[float, float]:
    """Friedman's and Page's p by going through every shuffle of every row."""
    seen = sum(np.array(row) for row in table)
    place = np.arange(1, len(table[0]) + 1)
    square, l_seen, at_least, page, count = (seen**2).sum(), (seen * place).sum(), 0, 0, 0
    for rows in product(*(list(permutations(row)) for row in table)):
        sums = np.sum(rows, axis=0)
        at_least += (sums**2).sum() >= square - 1e-9
        page += (sums * place).sum() >= l_seen - 1e-9
        count += 1
    return at_least / count, page / count


@pytest.mark.parametrize(
    "table",
    [
        [[1, 2, 3], [1, 2, 3], [2, 1, 3], [1, 3, 2]],
        [[1.5, 1.5, 3], [1, 2, 3], [1, 2.5, 2.5], [1, 2, 3]],
        [[1, 2, 3, 4], [1, 3.5, 2, 3.5], [2, 1, 3, 4]],
        [[2, 2, 2], [1, 2, 3], [3, 1, 2]],
    ],
)
def test_ties_by_the_permutation_distribution_of_the_tied_data(table):
    p, page_p = brute_force(table)
    ours = judge_ranking(table)
    assert ours.method == EXACT
    assert ours.p == pytest.approx(p, abs=1e-12)
    assert ours.page_p == pytest.approx(page_p, abs=1e-12)


def test_a_table_of_ties_alone_shows_nothing():
    ours = judge_ranking([[2, 2, 2]] * 4)
    assert (ours.friedman, ours.critical, ours.p, ours.page_p) == (0.0, None, 1.0, 1.0)


@pytest.mark.thorough
def test_large_tables_are_simulated_and_say_so():
    ours = judge_ranking([[1, 2, 3, 4, 5, 6, 7]] * 6 + [[7, 6, 5, 4, 3, 2, 1]] * 6)
    assert ours.method == SIMULATED
    assert ours.p == 1.0
    assert judge_ranking([[1, 2, 3, 4, 5, 6, 7]] * 12).p < 1e-5


@pytest.mark.parametrize(
    ("table", "field"),
    [
        ([[1, 2, 3]], "ranks"),
        ([[1, 2], [2, 1]], "ranks"),
        ([[1, 2, 3], [1, 2]], "ranks, taster 2"),
        ([[1, 2, 3], [1, 2, 8]], "ranks, taster 2"),
    ],
)
def test_what_is_no_ranking_is_refused(table, field):
    with pytest.raises(InputError) as raised:
        judge_ranking(table)
    assert raised.value.field == field


def test_sequential_triangle():
    lines = sequential_lines()
    null, half = (sequential_course(lines, "triangle", s) for s in (0.0, 0.5))
    assert null.different == pytest.approx(0.031, abs=0.004)
    assert half.different == pytest.approx(0.94, abs=0.006)
    assert 11 <= null.answers <= 13.5
    assert 11 <= half.answers <= 13.5
    assert null.different + null.alike + null.undecided == pytest.approx(1)
    assert [lines.verdict(5, k) for k in (0, 4, 5)] == ["alike", "go on", "different"]
