"""Ranked by outcome for an aim: no real difference is grouped, and practice decides within it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mustwright.errors import UnknownKindError
from mustwright.nutrition.choose import ProtocolVerdict
from mustwright.planning.ranking import ALIKE, DEFAULT_AIM, against, aim_called, aims, rank

SOUND = (False,) * 5
UNFIT = (False, False, True, False, False)


def verdict(faults=SOUND, feeds=2.0, cost=0.0, gave_way=0.0):
    return ProtocolVerdict((), (), faults, (0.0, gave_way, feeds, cost))


def outcome(finish=0.95, days=10.0, ph=3.3, ammonium_share=0.5, cost=2.0, feeds=2):
    return {
        "chance_to_finish": finish, "days_to_dry": days, "ph_trough": ph,
        "ammonium_share": ammonium_share, "cost": cost, "feeds": float(feeds),
    }  # fmt: skip


def picked(outcomes, verdicts=None, aim=DEFAULT_AIM):
    return rank(outcomes, verdicts or [verdict()] * len(outcomes), aim_called(aim))


def test_the_surer_one_wins_by_default():
    assert picked([outcome(0.70), outcome(0.95, days=12)]).pick == 1


@pytest.mark.parametrize(
    ("aim", "better"),
    [
        ("quick", outcome(0.94, days=5)),
        ("gentle", outcome(ph=3.6, days=12)),
        ("fruity", outcome(ammonium_share=0.0)),
        ("few feeds", outcome(feeds=1)),
        ("cheap", outcome(cost=0.5)),
    ],
)
def test_each_aim_picks_what_it_is_for(aim, better):
    assert picked([outcome(), better], aim=aim).pick == 1


def test_no_real_difference_is_one_group_and_practice_decides_in_it():
    same = [outcome(days=10.0), outcome(days=10.4), outcome(0.6)]
    found = picked(same, [verdict(feeds=4.0), verdict(feeds=2.0), verdict(feeds=1.0)])
    assert found.groups[0] == found.groups[1] == 1
    assert found.groups[2] > 1
    assert found.pick == 1
    assert found.order[0] == 1


def test_what_was_not_made_for_this_must_is_never_picked_while_another_was():
    found = picked([outcome(0.99, days=5), outcome(0.5, days=30)], [verdict(UNFIT), verdict()])
    assert found.pick == 1


def test_a_plan_that_never_gets_dry_can_be_ranked():
    found = picked([outcome(days=float("inf")), outcome(days=float("inf")), outcome()])
    assert found.pick == 2
    assert all(0 <= loss.value < 1000 for loss in found.losses)


def test_without_a_forecast_practice_decides():
    assert picked([{}, {}], [verdict(feeds=3.0), verdict(feeds=1.0)]).pick == 1


def test_an_aim_not_known_is_refused_with_those_that_are():
    with pytest.raises(UnknownKindError, match="security, quick, gentle"):
        aim_called("cheapest")


@given(
    st.lists(
        st.tuples(st.floats(0, 1), st.floats(3, 40), st.floats(2.5, 4), st.floats(0, 9)),
        min_size=1,
        max_size=8,
    ),
    st.sampled_from(sorted(aims())),
)
def test_the_pick_is_of_the_best_group_and_losses_show_their_parts(rows, aim):
    found = picked([outcome(f, d, p, cost=c) for f, d, p, c in rows], aim=aim)
    assert found.groups[found.pick] == 1
    assert sorted(found.order) == list(range(len(rows)))
    least = min(loss.value for loss in found.losses)
    assert found.losses[found.pick].value - least < 1.001
    for loss in found.losses:
        assert loss.value == pytest.approx(sum(loss.inputs.values()), abs=0.01)


def test_a_plan_is_told_from_the_best_by_what_it_does_worse():
    found = picked([outcome(), outcome(days=9.4, ph=2.9), outcome(days=10.3)])
    assert found.groups == (1, 2, 1)
    sooner = "dry about 0.6 days sooner"
    assert against(found, 1, sooner) == f"its pH falls lower; {sooner}"
    assert against(found, 1, ALIKE) == "its pH falls lower"
    assert against(found, 2, "dry about 0.3 days later") == ALIKE
