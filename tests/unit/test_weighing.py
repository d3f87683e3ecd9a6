"""A dose is said as a scale can show it: halves, parts and sums alike."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import cases
from mustwright.batch.ph_forecast_record import SaltDose
from mustwright.batch.ph_text import dose_words, half_dose_words
from mustwright.bench.field_text import grams as bench_grams
from mustwright.figure import Figure
from mustwright.finishing.acid import AcidAsk, acid_dose
from mustwright.finishing.law import finishing_laws
from mustwright.web.pages.figures import said
from mustwright.weighing import decimals_of, down_to_step, first_half

STEPS = (0.001, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 5.0)


@cases(100)
@given(st.integers(1, 4000), st.sampled_from(STEPS))
def test_both_halves_can_be_weighed_and_make_the_dose(count, step):
    dose = round(count * step, 9)
    first = first_half(dose, step)
    rest = dose - first
    for part in (first, rest):
        assert part / step == pytest.approx(round(part / step), abs=1e-5)
    assert 0 < first <= max(dose / 2, step) + 1e-9
    assert abs(rest - first) <= step + 1e-9
    assert float(f"{first:.{decimals_of(step)}f}") == pytest.approx(first, abs=1e-9)


def test_nothing_is_rounded_up_past_a_limit():
    assert down_to_step(5.299, 0.1) == 5.2
    assert down_to_step(0.09, 0.1) == 0.0


def dose(grams: float) -> SaltDose:
    return SaltDose("khco3", "Potassium bicarbonate", 0.5, grams, "now", 0.9, None, "", 3.6, "")


def test_half_of_a_salt_in_a_batch_is_what_the_scale_shows():
    """Half of 10.5 g was said as 5.25 g, beside a scale that shows 0.1 g."""
    assert half_dose_words(dose(10.5), 0.1).startswith("Add 5.2 g of potassium bicarbonate now")
    assert half_dose_words(dose(10.5), 0.01).startswith("Add 5.25 g of ")
    assert half_dose_words(dose(2250.0), 1.0).startswith("Add 1125 g of ")
    assert "Give half of it (5.2 g) and stir" in dose_words(dose(10.5), 3.2, 0.1)


def test_a_buffer_on_the_bench_is_halved_to_the_scale():
    ask = AcidAsk(19.0, substance="potassium_bicarbonate", acidity_g_l=7.0, to_acidity_g_l=6.35)
    found = acid_dose(ask, finishing_laws()["home"])
    first = found.first_half_g
    assert round(first, 1) == first
    assert found.weigh_g.value / 2 - 0.1 < first <= found.weigh_g.value / 2
    assert any(f"Half of it first: {first:g} g of" in step for step in found.recorded.steps)


def test_a_page_shows_a_dose_as_finely_as_the_scale():
    """On a scale of 0.01 g a page said 4.3 g for 4.27 g, so that doses did not add up."""

    def weighed(grams: float, step: float) -> Figure:
        return Figure(grams, "g", "of a test", "test", {"scale_step_g": step})

    assert said(weighed(4.27, 0.01)) == "4.27 g"
    assert said(weighed(0.5, 0.1)) == "0.5 g"
    assert said(weighed(7.0, 1.0)) == "7 g"
    assert bench_grams(weighed(120.5, 0.1)) == "120.5 g"
