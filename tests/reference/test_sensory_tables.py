"""Sensory tests against printed values: triangle, d-prime, Friedman, Page, ISO 8587."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import page_trend_test

from mustwright.learning.d_prime import correct_share_from_d_prime, d_prime
from mustwright.learning.discrimination import critical_number
from mustwright.learning.ranking import (
    EXACT,
    SIMULATED,
    critical_friedman,
    judge_ranking,
    page_tail,
)


@pytest.mark.rows("sensory_triangle_fao.csv", "critical number")
def test_triangle(row):
    ours = critical_number("triangle", int(row["tasters"]), row["alpha"])
    assert ours == (int(row.printed) if row.printed else None)


@pytest.mark.rows("sensory_d_prime.csv", "share of right answers")
def test_share_right(row, agree):
    agree(row, correct_share_from_d_prime(row.given["test"], row["d_prime"]))


@pytest.mark.rows("sensory_d_prime.csv", "d-prime", "standard error", "variance")
def test_d_prime(row, agree):
    found = d_prime(row.given["test"], int(row["tasters"]), int(row["correct"]))
    if row.quantity.startswith("d-prime"):
        agree(row, found.value)
    elif row.quantity.startswith("standard error"):
        agree(row, found.se)
    else:
        agree(row, found.se**2)


@pytest.mark.rows("sensory_friedman.csv", "critical value")
def test_friedman(row, agree):
    tasters, products = int(row["tasters"]), int(row["products"])
    table = [range(1, products + 1)] * tasters
    method = judge_ranking(table).method
    ours = critical_friedman(tasters, products, row["alpha"])
    if method == EXACT:
        assert (ours is None) == (not row.printed)
        if ours is not None:
            agree(row, ours)
        return
    # Simulated: the printed value must lie where p crosses the level, within three standard errors.
    assert method == SIMULATED
    assert products >= 5
    slack = 3 * (row["alpha"] * (1 - row["alpha"]) / 200_000) ** 0.5
    ends = [critical_friedman(tasters, products, row["alpha"] + s) for s in (slack, -slack)]
    assert ends[0] - row.tolerance <= row.value <= ends[1] + row.tolerance


@pytest.mark.rows("sensory_friedman.csv", "misprinted")
def test_the_misprint_is_told_apart(row):
    ours = critical_friedman(int(row["tasters"]), int(row["products"]), row["alpha"])
    assert ours == pytest.approx(12.3)
    assert abs(ours - row.value) > 0.5


@pytest.mark.rows("sensory_page.csv", "critical value")
def test_page(row):
    values, p = page_tail(int(row["tasters"]), int(row["products"]))
    assert values[p <= row["alpha"]][0] == int(row.printed)


def test_page_with_ties_of_a_printed_example():
    """Rank sums 8.5, 12, 17, 22.5 of six rankers give L = 173.5 (the guide of sensory_page.csv)."""
    ranks = [[1, 3, 2, 4], [1, 2, 3, 4], [1, 2, 3, 4], [1, 2, 4, 3], [1, 2, 3, 4], [3.5, 1, 2, 3.5]]
    result = judge_ranking(ranks)
    assert result.rank_sums == (8.5, 12, 17, 22.5)
    assert result.page_l == 173.5
    assert result.page_p < 0.001


# Eight assessors with the rank sums of the annex, found by search: its table is not printed here.
ISO_RANKS = [
    [1, 2, 5, 3, 4],
    [3, 5, 2, 4, 1],
    [3, 4, 5, 1, 2],
    [2, 5, 4, 1, 3],
    [1, 2, 5, 4, 3],
    [1, 5, 4, 3, 2],
    [2, 3, 5, 4, 1],
    [4, 5, 2, 3, 1],
]


@pytest.mark.rows("sensory_iso8587.csv", "Friedman", "critical", "least")
def test_iso8587_example(row, agree):
    result = judge_ranking(ISO_RANKS)
    assert result.rank_sums == (17, 31, 32, 23, 17)
    if row.quantity.startswith("Friedman"):
        agree(row, result.friedman)
    elif row.quantity.startswith("critical"):
        agree(row, result.critical)
    else:
        agree(row, result.least_difference)


def test_page_agrees_with_an_exact_library():
    random = np.random.default_rng(3)
    for _ in range(5):
        table = np.array([random.permutation(4) + 1 for _ in range(5)])
        ours = judge_ranking(table.tolist())
        theirs = page_trend_test(table, ranked=True, method="exact")
        assert ours.page_l == theirs.statistic
        assert ours.page_p == pytest.approx(theirs.pvalue, abs=1e-12)
