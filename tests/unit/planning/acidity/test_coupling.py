"""From kinetic members to acid members: nitrogen and charge add up, twins stay twins."""

from __future__ import annotations

import numpy as np
import pytest

from mustwright.kinetics import members as members_
from mustwright.kinetics import simulate
from mustwright.kinetics.parameters import population
from mustwright.kinetics.ready import warm_up
from mustwright.must.acidity.balance import charge_left, solve_ph
from mustwright.must.acidity.path import ph_along, state_at
from mustwright.nutrition.plan import plan_feeding
from mustwright.nutrition.protocols import built_in_protocols
from mustwright.planning.acidity.coupling import course_from, eaten_mg_l, trajectory, with_nitrogen
from mustwright.planning.acidity.feed_acid import additions_of
from mustwright.planning.acidity.ph_course import follow, ph_times
from mustwright.planning.acidity.prior import acid_must
from mustwright.planning.kinetic_inputs import conditions_of, feeds_of, must_at_pitch
from mustwright.planning.must_setup import ground_of

MEMBERS = 96
FLOAT32_MG_L = 0.05  # the run keeps its states in single precision


class Coupled:
    """A run of a honey must under a protocol with feeds, and its acid members."""

    def __init__(self, text: str, members: int = MEMBERS, seed: int = 1) -> None:
        self.ground = ground_of(text, "must")
        self.plan = plan_feeding(
            self.ground.setting, built_in_protocols()["halves_at_onset_and_third"]
        )
        self.feeds = feeds_of(self.plan, self.ground)
        must, conditions = must_at_pitch(self.ground), conditions_of(self.ground)
        built = members_.build(
            must, conditions, members_.draw(members, seed), population(must.medium)
        )
        self.times = ph_times(conditions.horizon_h)
        self.run = simulate.run(built, conditions, self.feeds, self.times, must.gravity)
        self.acid = acid_must(self.ground, members, seed, 3.8)
        self.done = trajectory(self.run, np.arange(members), self.times)
        self.must = with_nitrogen(
            self.acid.must, self.done.ammonium_start_mg_l, self.done.amino_start_mg_l
        )
        additions = [a for _, a in additions_of(self.ground.setting, self.plan)]
        self.course = course_from(self.done, self.feeds, additions, self.must.sugar_g_l)


SHEET = """
[must]
volume = "10 L"
gravity = "1.090"
temperature = "20 C"
[[must.ingredient]]
kind = "honey"
amount = "solve"
[[must.ingredient]]
kind = "water"
amount = "fill"
[yeast]
kind = "low-demand neutral"
amount = "5 g"
[shelf]
dap = "100 g"
autolysed_yeast = "100 g"
"""


@pytest.fixture(scope="module")
def coupled():
    warm_up()
    return Coupled(SHEET)


def test_nitrogen_eaten_and_left_is_what_the_must_had_and_was_fed(coupled):
    ammonium, amino = eaten_mg_l(coupled.done, coupled.feeds)
    assert coupled.feeds
    fed = [
        sum(getattr(f, kind) * g for f, g in zip(coupled.feeds, coupled.done.fed, strict=True))
        for kind in ("ammonium_n_mg_l", "amino_n_mg_l")
    ]
    for eaten, left, start, given in (
        (ammonium, coupled.done.ammonium_mg_l, coupled.done.ammonium_start_mg_l, fed[0]),
        (amino, coupled.done.amino_mg_l, coupled.done.amino_start_mg_l, fed[1]),
    ):
        np.testing.assert_allclose(eaten + left, start[:, None] + given, atol=FLOAT32_MG_L)
        assert (np.diff(eaten, axis=1) > -FLOAT32_MG_L).all()
    assert ammonium[:, -1].min() > 1


def test_the_pools_never_want_for_what_was_eaten(coupled):
    """What the kinetic members eat is there in the acid members, to a thousandth."""
    totals = coupled.must.rows.totals * coupled.must.solvent_kg_l * 14006.7
    chemistry = coupled.must.rows.chemistry
    for kind, start in (
        ("ammonium", coupled.done.ammonium_start_mg_l),
        ("amino", coupled.done.amino_start_mg_l),
    ):
        np.testing.assert_allclose(totals[:, chemistry.index(kind)], start, rtol=1e-3)


def test_taking_over_the_nitrogen_moves_no_ph(coupled):
    np.testing.assert_allclose(coupled.must.ph(), coupled.acid.must.ph(), atol=1e-8)


def test_charge_closes_all_along_the_run(coupled):
    rows = state_at(
        coupled.must, coupled.course, coupled.acid.traits, np.arange(coupled.times.size)
    )
    assert np.abs(charge_left(rows, solve_ph(rows))).max() < 1e-9


def test_each_member_is_fed_in_the_acid_when_it_was_in_the_run(coupled):
    for k, addition in enumerate(coupled.course.additions):
        due = coupled.run.fed_at_h[k]
        came = np.isfinite(due) & (due >= 0)
        assert (addition.given[:, -1] == came).all()
        for member in np.flatnonzero(came)[:10]:
            first = coupled.times[addition.given[member].argmax()]
            before = coupled.times[coupled.times < first]
            assert first >= due[member] - 1e-6
            assert before.size == 0 or before[-1] < due[member]


def test_members_keep_their_order_and_their_twins(coupled):
    some = np.array([5, 2, 90])
    part = trajectory(coupled.run, some, coupled.times)
    np.testing.assert_array_equal(part.sugar_g_l, coupled.done.sugar_g_l[some])
    np.testing.assert_array_equal(part.fed[1], coupled.done.fed[1][some])
    assert part.sugar_g_l.dtype == np.float64


def test_the_same_seed_gives_the_same_path(coupled):
    def path(seed: int) -> np.ndarray:
        one = coupled if seed == 1 else Coupled(SHEET, seed=seed)
        return ph_along(one.must, one.course, one.acid.traits, every=4).ph

    again = Coupled(SHEET)
    np.testing.assert_array_equal(
        path(1), ph_along(again.must, again.course, again.acid.traits, every=4).ph
    )
    assert not np.array_equal(path(1), path(2))


def test_straight_lines_between_solved_points_stay_near(coupled):
    thinned = ph_along(coupled.must, coupled.course, coupled.acid.traits, every=4)
    whole = ph_along(coupled.must, coupled.course, coupled.acid.traits)
    assert np.abs(thinned.ph - whole.ph).max() < 0.1
    assert np.abs(thinned.trough() - whole.trough()).max() < 0.05
    assert thinned.interpolation_error <= np.abs(thinned.ph - whole.ph).max() + 1e-9


def test_ammonium_sours_more_than_none(coupled):
    fed = follow(coupled.ground, coupled.plan, coupled.feeds, coupled.run, coupled.acid, 1)
    must, conditions = must_at_pitch(coupled.ground), conditions_of(coupled.ground)
    built = coupled.run.members
    bare = simulate.run(built, conditions, (), coupled.times, must.gravity)
    left = follow(coupled.ground, None, (), bare, coupled.acid, 1)
    assert np.median(fed.trough) < np.median(left.trough) - 0.1
    assert fed.chance_below_floor > left.chance_below_floor
