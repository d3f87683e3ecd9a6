"""How gravities are said: each scale gives the same gravity back, within its digits."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from cases import cases
from mustwright.bench.kinds import gravity_of
from mustwright.errors import InputError
from mustwright.must.gravity import brix_from_gravity, gravity_from_brix
from mustwright.must.gravity_text import (
    apparent_words,
    bare_words,
    gravity_span,
    gravity_step,
    gravity_text,
    steps_on_scale,
    typed_gravity,
    with_scale,
)
from mustwright.unit_system import GRAVITIES, METRIC, UnitSystem

SCALES = [UnitSystem(gravity=one) for one in GRAVITIES]
BRIX, PLATO = SCALES[1:]


@example(1.19565, SCALES[1])
@cases(150)
@given(st.floats(0.98, 1.2), st.sampled_from(SCALES))
def test_a_gravity_reads_back_within_its_digits(gravity, system):
    # Half of the last digit: a thousandth, or a tenth of a Brix as wide as it is there.
    brix = float(brix_from_gravity(gravity))
    tenth = float(gravity_from_brix(brix + 0.1) - gravity_from_brix(brix))
    half = 0.0005 if system == METRIC else 0.5 * tenth + 1e-6
    assert gravity_of(gravity_text(gravity, spoken=system), "x") == pytest.approx(gravity, abs=half)
    finely = gravity_of(typed_gravity(gravity, 4, system), "x")
    assert finely == pytest.approx(gravity, abs=0.00006)


@cases(60)
@given(st.floats(1.0, 1.15), st.floats(0.0, 0.04))
def test_a_step_is_the_difference_of_the_gravities_it_lies_between(gravity, step):
    ends = [float(gravity_text(gravity + side * step / 2, 4, BRIX).split()[0]) for side in (-1, 1)]
    assert float(gravity_step(step, gravity, 4, BRIX).split()[0]) == pytest.approx(
        ends[1] - ends[0], abs=0.016
    )


def test_default_text_is_that_of_a_hydrometer_in_specific_gravity():
    assert gravity_text(1.0854, spoken=METRIC) == "1.085"
    assert gravity_span(0.99, 1.0, METRIC) == "0.990 to 1.000"
    assert gravity_step(0.0123, 1.05, spoken=METRIC) == "0.012"
    assert bare_words(METRIC) == apparent_words(METRIC) == ""


def test_water_is_zero_and_never_minus_zero():
    for gravity in (0.99995, 1.0, 1.00005):
        assert gravity_text(gravity, spoken=PLATO) == "0.0 °P"


@pytest.mark.parametrize("text", ["1.085", "0.998", "1.08", "1,062", "1.1000"])
def test_a_number_that_may_be_a_specific_gravity_is_asked_about(text):
    with pytest.raises(InputError, match="could be either"):
        with_scale(text, "gravity", BRIX)
    assert with_scale(text, "gravity", METRIC) == text
    assert with_scale(f"{text} SG", "gravity", BRIX) == f"{text} SG"


@pytest.mark.parametrize(
    ("text", "kept"),
    [("24", "24 Bx"), ("-1.2", "-1.2 Bx"), ("1.1", "1.1 Bx"), ("24 P", "24 P"), ("dry", "dry"),
     ("12 %", "12 %"), ("", "")],
)  # fmt: skip
def test_a_bare_number_takes_the_chosen_scale_and_nothing_else_changes(text, kept):
    assert with_scale(text, "gravity", BRIX) == kept


@pytest.mark.parametrize(("low", "high"), [(0.99, 1.13), (0.995, 1.02), (1.0, 1.004), (0.99, 1.3)])
def test_an_axis_has_round_brix_within_its_ends(low, high):
    steps = steps_on_scale(low, high, 8)
    assert steps
    assert all(low <= place <= high for place, _ in steps)
    assert all(gravity_text(place, spoken=BRIX).split()[0] == f"{float(said):.1f}"
               for place, said in steps)  # fmt: skip
