"""Published falls of pH, through the kinetic run as a forecast takes it."""

from __future__ import annotations

import pytest

from mustwright.kinetics.ready import warm_up
from mustwright.planning.forecast import forecast, forecast_data

START, LOWEST, HIGHEST = 3.86, 3.52, 3.74  # middle of 3.81 to 3.91; ends without ammonium
DOUBT = 0.12  # structural doubt of the model, one standard deviation


@pytest.mark.parametrize("brix", [15, 22, 28, 33])
def test_end_of_honey_must_without_ammonium(brix):
    """Published 3.52 to 3.74 over 15 to 33 Brix; which Brix ended where is not printed."""
    warm_up()
    text = f"""
[must]
volume = "10 L"
brix = "{brix} Bx"
temperature = "22 C"
[measured]
ph = {START}
[[must.ingredient]]
kind = "honey"
amount = "solve"
[[must.ingredient]]
kind = "water"
amount = "fill"
[yeast]
kind = "low-demand neutral"
"""
    data = forecast_data(forecast(text, "none", members=400))
    low, middle, high = (data["ph"][q][-1] for q in ("p05", "p50", "p95"))
    assert low <= LOWEST
    assert high >= HIGHEST
    assert LOWEST - DOUBT <= middle <= HIGHEST + DOUBT
