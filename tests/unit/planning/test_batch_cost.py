"""The cost of a batch: what was priced, what was used, what has no price."""

from __future__ import annotations

import pytest

from mustwright.planning.batch_cost import used_cost
from mustwright.planning.must_setup import ground_of

SHEET = """
[must]
volume = "10 L"
gravity = "1.100"
[[must.ingredient]]
kind = "clover honey"
amount = "solve"
price_per_kg = 8.0
[[must.ingredient]]
kind = "water"
amount = "fill"
[yeast]
kind = "low-demand neutral"
[shelf]
dap = { stock = "250 g", price_per_kg = 9.0 }
autolysed_yeast = "500 g"
"""


def test_the_feeds_as_given_are_counted_by_the_price_of_their_jar():
    ground = ground_of(SHEET, "must")
    without, with_dap = used_cost(ground, {}), used_cost(ground, {"dap": 20.0})
    assert without.batch is not None
    assert with_dap.batch is not None
    assert with_dap.batch.value - without.batch.value == pytest.approx(0.020 * 9.0)


def test_what_has_no_price_is_named():
    found = used_cost(ground_of(SHEET, "must"), {"autolysed_yeast": 5.0, "bee_bread": 2.0})
    assert {"yeast", "bee_bread"} < set(found.not_priced)
    assert len(found.not_priced) == 3
    assert "at least" in found.words
