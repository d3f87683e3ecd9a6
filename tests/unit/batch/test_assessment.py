"""Does it fall, rest short of its end or stand at it; how old what is known is; and the restart."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from batches import STRONG, Log, plan
from mustwright.batch.assessment import assess
from mustwright.batch.end_gravity import end_gravity
from mustwright.batch.entries import Event, Reading
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.restart_course import COMBINED, GIVEN_UP, STARTER, TAKEN
from mustwright.batch.withdrawn_feeds import with_withdrawn

LANE = plan(STRONG.replace("1.120", "1.100"))
FALL = ((1, 1.090), (3, 1.060), (5, 1.030), (7, 1.012))


def log_of(*read: tuple[float, float]) -> Log:
    log = Log(LANE)
    for day, gravity in read:
        log.read(24 * day, gravity, temperature_c=20.0)
    return log


def judged(log: Log, day: float):
    stands = [s for s in log.stands() if isinstance(s.what, (Event, StepDone)) and not s.removed]
    return assess(log.at(24 * day), stands)


def test_a_must_may_end_anywhere_in_its_own_range():
    end = end_gravity(LANE.must)
    assert end.weight.sum() == pytest.approx(1)
    assert end.low < LANE.must.dry_gravity < end.middle < end.high
    assert end.high == pytest.approx(1.000, abs=0.001)
    strong = end_gravity(plan().must)
    assert strong.high - strong.low > end.high - end.low


@pytest.mark.parametrize(
    ("level", "phase", "low", "high"),
    [
        (0.990, "finished", 0.0, 0.02),
        (0.996, "finished", 0.0, 0.1),
        (1.000, "at its end", 0.0, 0.2),
        (1.006, "slowing", 0.3, 0.7),
        (1.012, "stopped short", 0.9, 1.0),
        (1.030, "stopped short", 0.99, 1.0),
    ],
)
def test_two_weeks_at_one_gravity_are_an_end_or_a_stop_by_the_range_of_the_must(
    level, phase, low, high
):
    before = tuple(one for one in FALL if one[1] > level + 0.002)
    of = judged(log_of(*before, *((d, level) for d in range(9, 24, 2))), 23.1)
    assert low <= of.chance_stopped_short <= high
    assert of.phase in ((phase, "finished") if level == 1.000 else (phase, "at its end"))
    assert of.sugar_left_g_l.p05 <= of.sugar_left_g_l.p50 <= of.sugar_left_g_l.p95


def test_sugar_left_goes_with_the_range_and_falls_with_gravity():
    seen = [judged(log_of(*FALL[:k]), 24).sugar_left_g_l.p50 for k in (1, 2, 3, 4)]
    assert seen == sorted(seen, reverse=True)
    of = judged(log_of(*FALL[:2]), 3.1)
    assert of.sugar_left_g_l.p95 - of.sugar_left_g_l.p05 > 10


def test_a_sugar_test_is_known_better_than_any_balance():
    log = log_of(*FALL, *((d, 1.004) for d in range(9, 24, 2)))
    open_ = judged(log, 23.1)
    log.add(24 * 23.1, StepDone("stable", measured={"residual_sugar_g_l": 1.2}))
    tested = judged(log, 23.2)
    assert open_.chance_stopped_short > 0.15
    assert tested.chance_stopped_short == 0
    assert tested.sugar_left_g_l.p95 < 2
    log.add(24 * 23.3, StepDone("stable", measured={"residual_sugar_g_l": 25.0}))
    assert judged(log, 23.4).phase == "stopped short"


def test_without_a_sugar_test_the_end_may_hold_as_much_as_its_gravity_allows():
    log = log_of(*FALL, *((d, 1.000) for d in range(9, 24, 2)))
    open_ = judged(log, 23.1)
    assert open_.phase in ("at its end", "finished")
    most = (1.000 - open_.end.low) * open_.end.sugar_per_gravity
    assert open_.sugar_left_g_l.p95 == pytest.approx(most, rel=0.05)
    assert most > 20
    log.add(24 * 23.1, StepDone("stable", measured={"residual_sugar_g_l": 1.2}))
    assert judged(log, 23.2).sugar_left_g_l.p95 < 2


def test_knowledge_grows_old_and_the_sugar_left_wide():
    log = log_of(*FALL[:2])
    soon, late = judged(log, 3.1), judged(log, 11)
    assert not soon.is_stale
    assert late.is_stale
    assert late.knowledge_age_h == pytest.approx(24 * 8)
    assert late.ages.ph_h is None
    width = [o.sugar_left_g_l.p95 - o.sugar_left_g_l.p05 for o in (soon, late)]
    assert width[1] > 2 * width[0]
    assert late.phase == soon.phase, "what happened since was not seen"


def test_a_slow_start_is_no_stop():
    log = log_of((1, 1.099), (2, 1.099), (3, 1.098), (4, 1.096), (5, 1.092))
    for day in (2.1, 3.1, 4.1, 5.1):
        assert judged(log, day).phase in ("waiting", "started")
        assert judged(log, day).chance_stopped_short < 0.4


def test_one_reading_of_a_device_after_the_other_counts_as_one():
    log = Log(LANE)
    for k in range(24 * 12):
        gravity = 1.1 - 0.06 * min(k / 150, 1.0)
        log.add(k, Reading(gravity=round(gravity, 4), instrument="sensor", temperature_c=20.0))
    of = judged(log, 12)
    assert of.phase == "stopped short"
    assert of.stood_h > 40


def test_the_restart_is_a_course_of_its_own():
    log = log_of((1, 1.095), (3, 1.07), (5, 1.045), (6, 1.04), (7, 1.04), (8, 1.04), (9, 1.04))
    log.add(24 * 9.5, Event("restart_begun"))
    assert judged(log, 10).restart.state == STARTER
    log.add(24 * 10.5, Event("restart_doubled"))
    assert judged(log, 11).restart.doublings == 1
    log.add(24 * 12, Event("restarted"))
    log.read(24 * 13, 1.040)
    of = judged(log, 13.1)
    assert (of.restart.state, of.phase) == (COMBINED, "stopped short")
    never = Log(LANE)
    never.entries = list(log.entries)
    never.read(24 * 20, 1.040)
    assert judged(never, 26.5).restart.state == GIVEN_UP
    log.read(24 * 15, 1.036)
    log.read(24 * 16, 1.030)
    of = judged(log, 16.1)
    assert of.restart.state == TAKEN
    assert of.phase == "working"
    assert of.days_to_end[0] < of.days_to_end[1]


def test_feeds_are_withdrawn_with_their_reason_and_come_back_with_the_ferment():
    log = log_of((1, 1.095), (2, 1.085), (2.5, 1.070))
    states = with_withdrawn(log.at(24 * 2.6), judged(log, 2.6)).feeds
    assert "ammonium belongs in the first third" in " ".join(s.why for s in states) or all(
        s.state == "ahead" for s in states
    )
    log.read(24 * 3, 1.050)
    states = with_withdrawn(log.at(24 * 3.1), judged(log, 3.1)).feeds
    assert {s.state for s in states} == {"withdrawn"}
    assert all("40 % of the sugar" in s.why for s in states)


def test_the_benchmark_holds_on_a_few_batches():
    """A few of those of `benchmarks/assessment.py`, every shape in it."""
    sys.path.insert(0, str(Path(__file__).parents[3]))
    try:
        from benchmarks.assessment import measure
        from benchmarks.simulated_batches import batches
    finally:
        sys.path.pop(0)
    found = measure(batches(24, 3))
    assert found["false_stopped"] == 0
    assert found["median_delay_d"] <= 4
    assert found["found_within_7_d"] == 1
    assert found["false_finished"] <= 0.05


def test_readings_that_fall_are_no_stand():
    of = judged(log_of(*FALL, (9, 1.006), (11, 1.000)), 11)
    assert (of.stood_h, of.stood_count) == (0.0, 1)
    of = judged(log_of(*FALL, (9, 1.000), (11, 1.000)), 11)
    assert (of.stood_h, of.stood_count) == (48.0, 2)


def test_a_mead_that_ended_sweet_at_its_yeasts_limit_has_not_stopped_short():
    log = Log(plan(STRONG.replace("1.120", "1.140")))
    for day, gravity in ((1, 1.136), (4, 1.1), (7, 1.066), (10, 1.038), (14, 1.02), (18, 1.014)):
        log.read(24 * day, gravity, temperature_c=20.0)
    for day in (22, 30, 40):
        log.read(24 * day, 1.013, temperature_c=20.0)
    of = judged(log, 40)
    assert of.end.high < 1.013
    assert of.alcohol_pct > log.at(0).plan.yeast.tolerance_pct
    assert of.phase == "finished"
    assert of.chance_stopped_short == 0
    assert of.sugar_left_g_l.p05 > 0
    assert of.sugar_left_g_l.p50 > 10
