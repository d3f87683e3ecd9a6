"""Amounts solved for: what comes out goes back in, and the impossible says what is possible."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import cases
from mustwright.errors import ImpossibleError, InputError
from mustwright.must.blend import Blend, Portion
from mustwright.must.gravity import brix_from_gravity, gravity_from_brix
from mustwright.must.ingredient import ingredient_called
from mustwright.must.solve import NO_SUGAR_SLACK, Wanted, solve_amounts

HONEYS = ["honey", "clover honey", "buckwheat honey", "heather honey", "sugar", "agave syrup"]
LITRES = st.floats(-1, 4).map(lambda e: 10**e)
GRAVITIES = st.floats(1.0, 1.3)


def portion(kind: str, kg: float = 0.0, origin: str = "typed") -> Portion:
    return Portion(ingredient_called(kind, "kind")[0], kg, kind=kind, origin=origin)


def solved(portions, volume_l, gravity, parts=None) -> Blend:
    brix = None if gravity is None else max(float(brix_from_gravity(gravity)), 0.0)
    return solve_amounts(portions, parts or [1.0] * len(portions), Wanted(volume_l, brix))


@cases(500)
@given(
    st.lists(
        st.tuples(st.sampled_from(HONEYS), st.floats(0.1, 10)),
        min_size=1,
        max_size=4,
        unique_by=lambda pair: pair[0],
    ),
    LITRES,
    GRAVITIES,
)
def test_honeys_in_ratio_and_water_come_back(honeys, litres, gravity):
    portions = [portion(kind, origin="solve") for kind, _ in honeys]
    portions.append(portion("water", origin="fill"))
    parts = [part for _, part in honeys] + [1.0]
    made = solved(portions, litres, gravity, parts)
    assert made.volume_l == pytest.approx(litres, rel=1e-9)
    assert made.gravity == pytest.approx(gravity, abs=NO_SUGAR_SLACK if gravity < 1.001 else 1e-9)
    kg = [p.kg for p in made.portions]
    assert min(kg) >= 0
    if kg[0] > 0:
        for (_, part), mass in zip(honeys, kg, strict=False):
            assert mass / kg[0] == pytest.approx(part / honeys[0][1], rel=1e-9)


@cases(300)
@given(LITRES, st.floats(1.06, 1.3), st.sampled_from(["apple juice", "grape juice"]))
def test_honey_in_juice_comes_back(litres, gravity, juice):
    made = solved(
        [portion("honey", origin="solve"), portion(juice, origin="fill")],
        litres,
        max(gravity, 1.08),
    )
    assert made.volume_l == pytest.approx(litres, rel=1e-9)
    assert made.gravity == pytest.approx(max(gravity, 1.08), abs=1e-9)


@cases(300)
@given(LITRES, st.floats(1.05, 1.25), st.floats(0.01, 0.3), st.sampled_from(["cherries", "apple"]))
def test_honey_round_fruit_comes_back(litres, gravity, share, fruit):
    made = solved(
        [
            portion(fruit, share * litres),
            portion("honey", origin="solve"),
            portion("water", origin="fill"),
        ],
        litres,
        gravity,
    )
    assert made.volume_l == pytest.approx(litres, rel=1e-9)
    assert made.gravity == pytest.approx(gravity, abs=1e-9)


@cases(300)
@given(st.floats(0.01, 5000), st.floats(1.002, 1.3))
def test_honey_on_hand_and_an_open_volume_come_back(kg, gravity):
    made = solved([portion("honey", kg), portion("water", origin="fill")], None, gravity)
    assert made.gravity == pytest.approx(gravity, abs=1e-9)
    assert made.portions[0].kg == kg


@cases(300)
@given(LITRES, st.floats(0.0, 0.6))
def test_filling_up_reaches_the_volume(litres, share):
    made = solved([portion("honey", share * litres), portion("water", origin="fill")], litres, None)
    assert made.volume_l == pytest.approx(litres, rel=1e-9)


def test_an_amount_given_as_volume_is_its_mass():
    honey = portion("honey", 2.84)
    assert honey.litres == pytest.approx(2.0, rel=0.005)
    assert honey.litres * honey.ingredient.density_kg_l == pytest.approx(2.84)


# The impossible ------------------------------------------------------------------------------


def refusal(portions, volume_l, gravity) -> ImpossibleError:
    with pytest.raises(ImpossibleError) as error:
        solved(portions, volume_l, gravity)
    return error.value


def test_too_little_honey_says_what_it_gives():
    error = refusal([portion("honey", 4), portion("water", origin="fill")], 19, 1.120)
    assert error.field == "must.gravity"
    assert str(error).startswith(
        "must.gravity: 4 kg of honey cannot reach it in 19 L: highest is about 1.067"
    )
    assert error.got == "1.120"
    # By hand: 4 kg x 0.8275 dissolved in 19 L is 174 g/L, 16.4 Brix, gravity 1.067.
    assert float(gravity_from_brix(16.36)) == pytest.approx(1.067, abs=5e-4)


def test_too_much_honey_says_what_it_gives():
    error = refusal([portion("honey", 8), portion("water", origin="fill")], 19, 1.060)
    assert "lowest is about 1.13" in str(error)


def test_more_than_the_vessel_holds():
    portions = [
        portion("water", 25),
        portion("honey", origin="solve"),
        portion("apple juice", origin="fill"),
    ]
    assert "already make 25.0" in str(refusal(portions, 19, 1.1))
    only = [portion("honey", 30), portion("water", origin="fill")]
    error = refusal(only, 19, None)
    assert error.field == "must.volume"
    assert "more than the volume" in str(error)


def test_juice_that_is_too_sweet_already():
    error = refusal(
        [portion("honey", origin="solve"), portion("apple juice", origin="fill")], 10, 1.030
    )
    assert "without any honey the must is already 1.04" in str(error)
    assert "lowest it can be" in str(error)


def test_more_than_honey_itself_can_give():
    error = refusal(
        [portion("apple juice", origin="solve"), portion("water", origin="fill")], 10, 1.100
    )
    assert "cannot be reached in 10 L even without water" in str(error)
    assert "apple juice alone is 1.04" in str(error)


def test_two_things_equally_sweet():
    error = refusal([portion("honey", origin="solve"), portion("honey", origin="fill")], 10, 1.1)
    assert "equally sweet" in str(error)


def test_typed_amounts_that_miss_the_volume():
    error = refusal([portion("honey", 3), portion("water", 8)], 19, None)
    assert error.field == "must.volume"
    assert "make 10.07 L" in str(error)
    assert error.got == "19.00 L"


def test_one_open_amount_cannot_meet_two_wants():
    error = refusal([portion("honey", 3), portion("water", origin="solve")], 10, 1.080)
    assert error.field == "must.volume"


def test_sugar_cannot_thin_a_must():
    error = refusal([portion("apple juice", 10), portion("honey", origin="solve")], None, 1.030)
    assert "cannot be reached by adding honey" in str(error)


def test_nothing_to_fill_with():
    husks = portion("cherries", origin="fill")
    dry = Portion(
        type(husks.ingredient)("husks", "Husks", "fruit", {}), 0.0, kind="husks", origin="fill"
    )
    assert "no liquid" in str(refusal([portion("honey", 1), dry], 10, None))


@pytest.mark.parametrize(
    ("portions", "volume_l", "gravity", "field"),
    [
        ([("honey", "solve"), ("water", "fill")], 10, None, "must.gravity"),
        ([("honey", "solve"), ("water", "fill")], None, 1.1, "must.volume"),
        ([("water", "fill"), ("apple juice", "fill")], 10, 1.05, "must.ingredient.amount"),
        ([("water", "fill")], None, None, "must.volume"),
    ],
)
def test_what_is_missing_is_named(portions, volume_l, gravity, field):
    with pytest.raises(InputError) as error:
        solved([portion(kind, origin=origin) for kind, origin in portions], volume_l, gravity)
    assert error.value.field == field


def test_no_sugar_at_all_is_water():
    made = solved([portion("honey", origin="solve"), portion("water", origin="fill")], 10, 1.0)
    assert made.portions[0].kg == 0
    assert made.volume_l == pytest.approx(10)
