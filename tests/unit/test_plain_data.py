"""Results as plain data: ranges beside figures, shared working once, some fields of a record."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime

import pytest

from mustwright.figure import ARITHMETIC, Figure, typed
from mustwright.plain_data import answer_data, data_of, fields_of, picked, with_ranges, working_of


@dataclass(frozen=True)
class Jam:
    name: str
    sugar: Figure
    made: datetime
    stock_g: float


SUGAR = typed(0.1 + 0.2, "kg")
TWICE = Figure(0.6, "kg", "2 x sugar", ARITHMETIC, {"sugar": SUGAR}, 0.5, float("inf"))
JAM = Jam("plum", TWICE, datetime(2031, 5, 1, tzinfo=UTC), 0.1 + 0.2)


def test_ranges_stand_beside_the_figures_that_carry_one():
    shape = with_ranges(JAM, "made", plain=SUGAR)
    assert list(shape) == ["name", "sugar", "stock_g", "plain", "ranges"]
    assert shape["ranges"] == {"sugar": [0.5, None]}


def test_an_answer_is_plain_and_tidy_and_a_record_is_kept_to_the_last_digit():
    data = answer_data(fields_of(JAM))
    assert data == {"name": "plum", "sugar": 0.6, "made": JAM.made.isoformat(), "stock_g": 0.3}
    assert json.loads(json.dumps(data)) == data
    assert picked(JAM, "stock_g made") == {"stock_g": 0.1 + 0.2, "made": JAM.made.isoformat()}
    assert data_of([JAM.stock_g, (1,), {2: None}]) == [0.1 + 0.2, [1], {"2": None}]


@pytest.mark.parametrize("whole", [False, True])
def test_shared_working_is_unfolded_once_or_whole(whole):
    shape = {"sugar": SUGAR, "twice": TWICE}
    working = answer_data(shape, explain=True, whole=whole)["working"]
    inner = working["twice"]["inputs"]["sugar"]
    assert inner["value"] == 0.3
    assert inner.get("see") == (None if whole else "sugar")
    assert working_of(shape) == shape
