"""Who gets which glass when: balanced orders and codes that give nothing away.

The first glass is judged higher and every glass is judged against the one before it. Orders are
balanced for both: each mead stands equally often at each place and after each other one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from mustwright.errors import InputError
from mustwright.learning.d_prime import check_test
from mustwright.texts import say

FEWEST, MOST_PRODUCTS, MOST_TASTERS = 2, 12, 200
FIRST_CODE, LAST_CODE = 100, 999
# Glasses of each test, the two meads as 1 and 2; the first of a duo-trio is the named reference.
FLIGHTS = {
    "triangle": ((1, 1, 2), (1, 2, 1), (2, 1, 1), (2, 2, 1), (2, 1, 2), (1, 2, 2)),
    "paired": ((1, 2), (2, 1)),
    "duo-trio": ((1, 1, 2), (1, 2, 1), (2, 1, 2), (2, 2, 1)),
    "tetrad": ((1, 1, 2, 2), (1, 2, 1, 2), (1, 2, 2, 1), (2, 2, 1, 1), (2, 1, 2, 1), (2, 1, 1, 2)),
}


@dataclass(frozen=True)
class ServingPlan:
    """Orders of serving, one a taster.

    Parameters
    ----------
    orders : tuple of tuple of int
        Numbers of the meads, from 1, in the order of the glasses.
    balanced : bool
        Each mead equally often at each place, and after each other one (all meads served), or each
        pair equally often together (some meads served).
    tasters_for_balance : int or None
        A number of tasters for which it is so; multiples of it too. None where none was found.
    """

    orders: tuple[tuple[int, ...], ...]
    balanced: bool
    tasters_for_balance: int | None


def _check(products: int, tasters: int) -> None:
    if not FEWEST <= products <= MOST_PRODUCTS:
        raise InputError(
            "products",
            say("{least} to {most}", least=FEWEST, most=MOST_PRODUCTS),
            products,
        )
    if not 1 <= tasters <= MOST_TASTERS:
        raise InputError("tasters", say("1 to {most}", most=MOST_TASTERS), tasters)


def williams_square(products: int) -> tuple[tuple[int, ...], ...]:
    """Orders in which each mead follows each other one equally often.

    Parameters
    ----------
    products : int
        2 to 12.

    Returns
    -------
    tuple of tuple of int
        As many orders as meads if these are even in number, twice as many if odd; meads from 1.

    Notes
    -----
    First row ``0, 1, n-1, 2, n-2, ...``, the others by adding one (mod n); for odd n also each
    row backwards (Williams1949).

    Examples
    --------
    >>> williams_square(4)
    ((1, 2, 4, 3), (2, 3, 1, 4), (3, 4, 2, 1), (4, 1, 3, 2))
    """
    _check(products, 1)
    first = [0]
    for step in range(1, products):
        first.append((step + 1) // 2 if step % 2 else products - step // 2)
    rows = [tuple((place + turn) % products + 1 for place in first) for turn in range(products)]
    if products % 2:
        rows += [row[::-1] for row in rows]
    return tuple(rows)


def serving_orders(
    products: int, tasters: int, seed: int, glasses: int | None = None
) -> ServingPlan:
    """An order for every taster.

    Parameters
    ----------
    products : int
        2 to 12.
    tasters : int
        1 to 200.
    seed : int
        Same seed, same orders: which mead takes which place of the design, and who gets which row.
    glasses : int or None
        Meads that each taster gets, 2 to `products`; None serves all.

    Returns
    -------
    ServingPlan

    Raises
    ------
    InputError
        For numbers out of range.

    Examples
    --------
    >>> plan = serving_orders(4, 8, seed=1)
    >>> plan.balanced, sorted(order[0] for order in plan.orders)
    (True, [1, 1, 2, 2, 3, 3, 4, 4])
    """
    _check(products, tasters)
    if glasses is not None and not FEWEST <= glasses <= products:
        raise InputError(
            "glasses",
            say("{least} to {most}, the number of products", least=FEWEST, most=products),
            glasses,
        )
    random = np.random.Generator(np.random.Philox(seed))
    names = random.permutation(products) + 1
    if glasses is None or glasses == products:
        square = williams_square(products)
        rows: list[tuple[int, ...]] = []
        while len(rows) < tasters:  # whole squares, so that any cut is as even as can be
            rows += [square[i] for i in random.permutation(len(square))]
        return ServingPlan(_named(rows[:tasters], names), tasters % len(square) == 0, len(square))
    blocks, whole = _blocks(products, tasters, glasses, random)
    return ServingPlan(_named(blocks, names), _pairs_even(blocks, products), whole)


def flights(test: str, tasters: int, seed: int) -> tuple[tuple[int, ...], ...]:
    """Glasses of a discrimination test, one flight a taster, every order equally often.

    Parameters
    ----------
    test : {"triangle", "paired", "duo-trio", "tetrad"}
    tasters : int
        1 to 200.
    seed : int

    Returns
    -------
    tuple of tuple of int
        The two meads as 1 and 2 in the order of the glasses; in a duo-trio the reference first.

    Raises
    ------
    InputError
        For a test or number that cannot be.
    """
    check_test(test)
    _check(2, tasters)
    random = np.random.Generator(np.random.Philox(seed))
    rows: list[tuple[int, ...]] = []
    while len(rows) < tasters:
        rows += [FLIGHTS[test][i] for i in random.permutation(len(FLIGHTS[test]))]
    return tuple(rows[:tasters])


def three_digit_codes(count: int, seed: int) -> tuple[int, ...]:
    """Codes from 100 to 999, all different, in no order.

    Parameters
    ----------
    count : int
        1 to 900.
    seed : int

    Returns
    -------
    tuple of int

    Raises
    ------
    InputError
        For more codes than there are.
    """
    most = LAST_CODE - FIRST_CODE + 1
    if not 1 <= count <= most:
        raise InputError("codes", say("1 to {most} glasses", most=most), count)
    random = np.random.Generator(np.random.Philox(seed + 2**34))
    return tuple(int(c) for c in random.choice(most, count, replace=False) + FIRST_CODE)


def glass_codes(orders: Sequence[Sequence[int]], seed: int) -> tuple[tuple[int, ...], ...]:
    """A code for every glass of every taster, so that nobody can compare notes by code.

    Parameters
    ----------
    orders : sequence of sequence of int
        Glasses of each taster.
    seed : int

    Returns
    -------
    tuple of tuple of int
        In the shape of `orders`. Codes are all different up to 900 glasses; beyond that they are
        so within each taster.
    """
    count = sum(len(order) for order in orders)
    one_set = count <= LAST_CODE - FIRST_CODE + 1
    codes = iter(three_digit_codes(count, seed)) if one_set else None
    return tuple(
        tuple(next(codes) for _ in order) if codes else three_digit_codes(len(order), seed + place)
        for place, order in enumerate(orders)
    )


def _named(rows: list[tuple[int, ...]], names: np.ndarray) -> tuple[tuple[int, ...], ...]:
    return tuple(tuple(int(names[place - 1]) for place in row) for row in rows)


def _pairs_even(rows: list[tuple[int, ...]], products: int) -> bool:
    """Is each pair of meads together equally often?"""
    together = dict.fromkeys(combinations(range(1, products + 1), 2), 0)
    for row in rows:
        for pair in combinations(sorted(row), 2):
            together[pair] += 1
    return len(set(together.values())) == 1


def _blocks(
    products: int, tasters: int, glasses: int, random: np.random.Generator
) -> tuple[list[tuple[int, ...]], int | None]:
    """Incomplete blocks by turning starters round, and the tasters a balanced set takes.

    A starter turned through all meads serves each one equally often; the starters taken are those
    that bring the pairs closest to even, one after the other.
    """
    starters = [(0, *rest) for rest in combinations(range(1, products), glasses - 1)]
    apart = np.array([_apart(starter, products) for starter in starters])
    seen = np.zeros(apart.shape[1])
    rows: list[tuple[int, ...]] = []
    whole = None
    while len(rows) < tasters or (whole is None and len(rows) < MOST_TASTERS):
        uneven = ((seen + apart) ** 2).sum(axis=1)
        best = int(np.argmin(uneven))
        seen = seen + apart[best]
        rows += _turned(starters[best], products, random)
        if whole is None and np.ptp(seen) == 0:
            whole = len(rows)
    return rows[:tasters], whole


def _apart(starter: tuple[int, ...], products: int) -> np.ndarray:
    """How often a turned starter brings together meads 1, 2, ... places apart."""
    counts = np.zeros(products // 2)
    for a, b in combinations(starter, 2):
        distance = min(b - a, products - b + a)
        # The widest distance of an even ring has half as many pairs.
        counts[distance - 1] += 2.0 if 2 * distance == products else 1.0
    return counts


def _turned(
    starter: tuple[int, ...], products: int, random: np.random.Generator
) -> list[tuple[int, ...]]:
    """All turns of a starter in one random order of its glasses, tasters shuffled."""
    order = random.permutation(len(starter))
    mixed = [starter[i] for i in order]
    rows = [tuple((place + turn) % products + 1 for place in mixed) for turn in range(products)]
    return [rows[i] for i in random.permutation(products)]
