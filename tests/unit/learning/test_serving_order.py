"""Serving orders: balanced for place and for what came before; codes all different."""

from __future__ import annotations

from collections import Counter
from itertools import combinations, pairwise

import pytest

from mustwright.errors import InputError
from mustwright.learning.serving_order import (
    FLIGHTS,
    flights,
    serving_orders,
    three_digit_codes,
    williams_square,
)


@pytest.mark.parametrize("products", range(2, 13))
def test_each_mead_at_each_place_and_after_each_other_equally_often(products):
    square = williams_square(products)
    assert len(square) == products * (1 + products % 2)
    places = Counter((k, mead) for row in square for k, mead in enumerate(row))
    assert len(places) == products**2
    assert len(set(places.values())) == 1
    after = Counter(pair for row in square for pair in pairwise(row))
    assert len(after) == products * (products - 1)
    assert len(set(after.values())) == 1


@pytest.mark.parametrize(("products", "tasters"), [(3, 6), (4, 8), (5, 10), (5, 7)])
def test_everybody_gets_every_mead_once(products, tasters):
    plan = serving_orders(products, tasters, seed=4)
    assert len(plan.orders) == tasters
    assert all(sorted(order) == list(range(1, products + 1)) for order in plan.orders)
    assert plan.balanced == (tasters % plan.tasters_for_balance == 0)


@pytest.mark.parametrize(("products", "glasses", "tasters"), [(5, 3, 10), (7, 3, 7), (7, 4, 7)])
def test_incomplete_blocks_bring_each_pair_together_equally_often(products, glasses, tasters):
    plan = serving_orders(products, tasters, seed=2, glasses=glasses)
    assert plan.balanced
    assert plan.tasters_for_balance == tasters
    together = Counter(pair for o in plan.orders for pair in combinations(sorted(o), 2))
    assert len(together) == products * (products - 1) // 2
    assert len(set(together.values())) == 1
    places = Counter((k, mead) for o in plan.orders for k, mead in enumerate(o))
    assert len(set(places.values())) == 1
    assert all(len(set(o)) == glasses for o in plan.orders)


def test_a_cut_set_says_that_it_is_not_balanced():
    plan = serving_orders(7, 5, seed=2, glasses=3)
    assert (plan.balanced, plan.tasters_for_balance, len(plan.orders)) == (False, 7, 5)


def test_the_seed_decides():
    assert serving_orders(4, 8, 1) == serving_orders(4, 8, 1)
    assert serving_orders(4, 8, 1) != serving_orders(4, 8, 2)
    assert three_digit_codes(20, 1) == three_digit_codes(20, 1)


@pytest.mark.parametrize("test", FLIGHTS)
def test_flights_take_every_order_equally_often(test):
    served = flights(test, 2 * len(FLIGHTS[test]), seed=3)
    assert Counter(served) == dict.fromkeys(FLIGHTS[test], 2)


def test_codes():
    codes = three_digit_codes(900, seed=1)
    assert sorted(codes) == list(range(100, 1000))
    assert list(codes) != sorted(codes)
    with pytest.raises(InputError):
        three_digit_codes(901, 1)


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: serving_orders(1, 4, 1), "products"),
        (lambda: serving_orders(4, 0, 1), "tasters"),
        (lambda: serving_orders(4, 4, 1, glasses=5), "glasses"),
    ],
)
def test_bad_input_names_the_field(call, field):
    with pytest.raises(InputError) as raised:
        call()
    assert raised.value.field == field
