"""The watch sees what is there, names its evidence, and does not cry stuck at one noisy reading."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import UTC
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches import PITCHED, STRONG, WEAK, Log, plan
from mustwright import data
from mustwright.batch.alerts import watch
from mustwright.batch.allowed_additions import broken, room_of_kind
from mustwright.batch.assessment import assess
from mustwright.batch.diagnosis import diagnose
from mustwright.batch.entries import Event, FeedGiven, Given, Reading, Removal
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.next_step import next_step
from mustwright.batch.restart import restart_plan
from mustwright.batch.salt_advice import salt_advice


def seen(log: Log, hours: float) -> dict:
    return {f.rule: f for f in watch(log.at(hours), log.stands())}


def steady(fall_per_day: float, days: int, start: float = 1.118, **more) -> Log:
    log = Log()
    for day in range(1, days + 1):
        log.read(24 * day, start - fall_per_day * (day - 1), **more)
    return log


def fed(log: Log, hours: float = 30.0) -> Log:
    """With every feed of the plan given as planned."""
    for feed in plan().feeds:
        items = tuple(Given(d.nutrient, d.grams) for d in feed.doses)
        log.add(hours, FeedGiven(items, feed.key))
    return log


def test_a_healthy_ferment_worries_nobody():
    log = fed(steady(0.012, 8, temperature_c=20))
    for day in range(2, 9):
        assert seen(log, 24 * day + 1) == {}


def test_no_start_waits_longer_in_the_cold_and_is_surer_with_a_reading():
    log = Log()
    assert seen(log, 20) == {}
    assert not seen(log, 40)["no_start"].sure
    log.read(39, 1.120, temperature_c=20)
    assert seen(log, 40)["no_start"].sure
    cold = Log()
    cold.read(39, 1.120, temperature_c=10)
    assert seen(cold, 40) == {}


def test_sluggish_goes_by_the_published_thresholds_on_both_sides_of_the_boundary():
    assert "sluggish" in seen(steady(0.003, 6), 146)
    assert "sluggish" not in seen(steady(0.008, 6), 146)
    low = Log()
    for day in range(4):
        low.read(200 + 24 * day, 1.0084 - 0.0012 * day)
    assert "sluggish" in seen(low, 273)


def test_a_slow_tail_near_the_end_of_its_own_must_is_not_sluggish():
    """0.0005 a day at 1.002, where this must may end: nearly done, not in trouble."""
    low = Log()
    for day in range(6):
        low.read(200 + 24 * day, 1.004 - 0.0005 * day)
    assert not {"sluggish", "stuck"} & set(seen(low, 322))


def test_stuck_needs_more_than_one_still_reading():
    log = steady(0.012, 5)
    log.read(144, 1.062)
    log.read(168, 1.062)
    first = seen(log, 169)
    assert not any(f.rule == "stuck" and f.sure for f in first.values())
    log.read(192, 1.062)
    stuck = seen(log, 193)["stuck"]
    assert stuck.sure
    assert stuck.confidence > 0.6
    assert "1.062" in stuck.evidence
    assert "sluggish" not in seen(log, 193)
    log.read(216, 1.056)
    assert "stuck" not in seen(log, 217)


@pytest.mark.parametrize("seed", range(8))
def test_one_noisy_reading_is_not_stuck(seed):
    """A steady fall with the hydrometer's own error: never surely stuck, over 40 mornings each."""
    chance = random.Random(seed)
    log = Log()
    for day in range(1, 13):
        log.read(24 * day, 1.118 - 0.008 * day + chance.gauss(0, 0.001))
        assert not any(f.rule == "stuck" and f.sure for f in seen(log, 24 * day + 1).values())


def test_too_warm_names_the_yeast_and_the_heat():
    log = steady(0.015, 3, temperature_c=20)
    log.read(80, 1.085, temperature_c=31)
    finding = seen(log, 81)["too_warm"]
    assert finding.severity == 95
    assert "29.4" in finding.evidence
    assert "too_warm" not in seen(steady(0.015, 3, temperature_c=25), 73)


def test_low_ph_counts_the_error_of_the_meter():
    assert "ph_low" in seen(steady(0.01, 3, ph=3.0), 73)
    assert "ph_low" not in seen(steady(0.01, 3, ph=3.3), 73)


def test_rising_gravity_is_questioned_unless_something_went_in():
    log = steady(0.012, 4)
    log.read(120, 1.090)
    assert "gravity_rising" in seen(log, 121)
    log.add(110, Event("honey_in"))
    assert "gravity_rising" not in seen(log, 121)


def test_implausible_readings_do_not_make_the_ferment_look_fast():
    log = steady(0.012, 4)
    log.read(108, 0.990)
    found = seen(log, 109)
    assert "implausible" in found
    assert "stuck" not in found
    high = steady(0.012, 2)
    high.read(60, 1.140)
    assert "implausible" in seen(high, 61)


def test_left_over_nitrogen_matters_in_a_weak_mead_only():
    for sheet, expected in ((WEAK, True), (STRONG, False)):
        of = plan(sheet)
        log = Log(of)
        log.add(10, FeedGiven((Given("dap", 15.0),)))
        log.read(24, of.must.gravity - 0.02)
        log.read(240, of.must.dry_gravity + 0.001)
        assert ("leftover_nitrogen" in seen(log, 250)) is expected


def test_standing_still_asks_for_two_weeks_and_warmth_and_finished_for_a_sugar_test_too():
    log = Log()
    dry = plan().must.dry_gravity
    for hours, gravity in ((24, 1.1), (240, 1.03), (600, dry + 0.001), (780, dry + 0.0005)):
        log.read(hours, gravity, temperature_c=19)
    assert not {"finished", "settled"} & set(seen(log, 790))
    log.read(600 + 24 * 15, dry + 0.001, temperature_c=19)
    assert seen(log, 600 + 24 * 15 + 1)["settled"].sure
    cold = Log()
    for entry in log.entries[2:-1]:
        cold.add((entry.at - PITCHED).total_seconds() / 3600, entry.what)
    cold.read(600 + 24 * 15, dry + 0.001, temperature_c=8, sample_c=19)
    assert not seen(cold, 600 + 24 * 15 + 1)["settled"].sure
    kept = Log()
    kept.entries = list(log.entries)
    kept.add(600 + 24 * 15 + 1, StepDone("stable", words={"stabilised": "pasteurised"}))
    assert "Do not bottle" in seen(log, 600 + 24 * 15 + 2)["settled"].do
    assert "settled" not in seen(kept, 600 + 24 * 15 + 2)
    log.add(600 + 24 * 15 + 1, StepDone("stable", measured={"residual_sugar_g_l": 1.2}))
    assert seen(log, 600 + 24 * 15 + 2)["finished"].sure
    sweet = log.add(600 + 24 * 15 + 2, StepDone("stable", measured={"residual_sugar_g_l": 9.0}))
    assert "finished" not in seen(log, 600 + 24 * 15 + 3)
    log.add(600 + 24 * 15 + 3, Removal(sweet.id))
    assert "finished" in seen(log, 600 + 24 * 15 + 4)


def test_every_finding_says_what_to_check_do_and_when_to_stop():
    for name, rule in data.load("watch")["rule"].items():
        assert {"title", "check", "do", "stop"} <= rule.keys(), name


def test_every_threshold_names_its_source():
    marks = ("assumed", "from memory", "common practice, no source")
    known = data.load("bibliography")

    def walk(table, where):
        if table.keys() & {"value", "low", "claim"}:
            source = table["source"]
            assert source.startswith(marks) or source.split()[0].rstrip(",:") in known, where
            return
        for key, inner in table.items():
            if isinstance(inner, dict):
                walk(inner, f"{where}.{key}")

    walk(data.load("watch"), "watch")


# Stuck ------------------------------------------------------------------------------------------


def stuck_log(*, fed: bool, ph: float | None = None, temperature_c: float = 20.0) -> Log:
    log = Log()
    log.read(20, 1.115, temperature_c=temperature_c)
    if fed:
        for feed in plan().feeds:
            items = tuple(Given(d.nutrient, d.grams) for d in feed.doses)
            log.add(30, FeedGiven(items, feed.key))
    for hours, gravity in ((96, 1.060), (144, 1.050), (168, 1.050), (192, 1.050)):
        log.read(hours, gravity, temperature_c=temperature_c, ph=ph)
    return log


def first_cause(log: Log) -> str:
    found = diagnose(log.at(193)).causes
    assert sum(c.score for c in found) == pytest.approx(1)
    assert [c.score for c in found] == sorted((c.score for c in found), reverse=True)
    return found[0].cause


def test_causes_follow_the_evidence():
    assert first_cause(stuck_log(fed=False, ph=3.6)) == "nitrogen"
    assert first_cause(stuck_log(fed=True, ph=2.9)) == "ph_potassium"
    assert first_cause(stuck_log(fed=True, ph=3.6, temperature_c=8)) == "temperature"


def test_the_measurement_tells_the_first_two_apart():
    diagnosis = diagnose(stuck_log(fed=False, ph=3.6).at(193))
    first, second = diagnosis.causes[:2]
    said = diagnosis.measure_first.lower()
    assert first.title.lower() in said
    assert second.title.lower() in said


def test_a_ph_that_was_just_read_is_not_asked_for_again_to_tell():
    log = stuck_log(fed=True, ph=2.9)
    assert diagnose(log.at(193)).measure_first.startswith("pH 2.90 was read. Under 3.2, pH is")
    assert diagnose(log.at(193 + 30)).measure_first.startswith("Read pH with a calibrated meter")


def test_the_restart_doubles_up_and_balances_its_litres():
    now = stuck_log(fed=True, ph=3.6).at(193)
    plan_ = restart_plan(now)
    assert plan_.worth_it
    totals = [step.total_l for step in plan_.steps]
    mead = sum(step.mead_l for step in plan_.steps)
    assert mead == pytest.approx(19.0, abs=1e-6)
    assert totals[-1] == pytest.approx(19.0 + plan_.steps[0].water_l, abs=1e-6)
    for before, after in pairwise(totals[:-1]):
        assert after == pytest.approx(2 * before)
    alcohols = [s.alcohol_pct for s in plan_.steps[:-1]]
    assert alcohols == sorted(alcohols), "each step is stronger than the one before"
    assert all(s.move_on_at < s.gravity for s in plan_.steps)
    assert plan_.give_up
    assert any("CO2" in c or "carbon dioxide" in c for c in plan_.cautions)


@given(st.floats(0, 40), st.floats(0, 20), st.sampled_from(["us", "eu", "home"]))
def test_the_restart_keeps_every_limit_with_what_was_given_already(yeast_g, salt_g, profile):
    """Given grams, starter and hulls together; a limit that was broken before leaves nothing."""
    of = plan(STRONG.replace('profile = "us"', f'profile = "{profile}"'))
    log = Log(of)
    log.read(20, 1.115, temperature_c=20)
    log.add(30, FeedGiven((Given("autolysed_yeast", yeast_g), Given("dap", salt_g))))
    for hours, gravity in ((96, 1.060), (144, 1.050), (168, 1.050), (192, 1.050)):
        log.read(hours, gravity)
    found = restart_plan(log.at(193))
    more = sum(step.organic_g for step in found.steps)
    label = next(m for m in of.most if m.key == "label:autolysed_yeast")
    most_g = label.most_g_l * of.must.volume_l
    assert more <= max(most_g - yeast_g, 0.0) + 1e-9
    kept_back = [c for c in found.cautions if "may still go in" in c]
    wanted = sum(0.25 * step.total_l for step in found.steps[:1])
    if most_g - yeast_g < wanted - 0.1:
        assert len(kept_back) == 1
        assert "label of" in kept_back[0]
    if most_g <= yeast_g:
        assert "without nutrient" in found.steps[0].what
    before = {m.key for m in broken(of, log.at(193).given_g, ())}
    given_g = dict(log.at(193).given_g)
    given_g["autolysed_yeast"] += more
    assert {m.key for m in broken(of, given_g, ())} == before


def test_hulls_and_nutrients_without_a_jar_keep_law_and_usual_label():
    for sheet in (STRONG, STRONG.replace("complex_blend = {}", "yeast_hulls = {}")):
        log = Log(plan(sheet))
        log.add(30, FeedGiven((Given("yeast_hulls", 5.0),)))
        room = room_of_kind(log.at(40), "yeast_hulls")
        assert room.grams == pytest.approx(0.36 * 19 - 5.0, abs=0.01)
    without = Log(plan(STRONG.replace("autolysed_yeast = {}\n", ""))).at(1)
    assert room_of_kind(without, "autolysed_yeast").grams == pytest.approx(0.4 * 19)
    assert "read yours" in room_of_kind(without, "autolysed_yeast").words
    assert room_of_kind(without, "yeast_hulls").grams == pytest.approx(0.36 * 19)


def test_a_mead_at_the_end_of_what_yeast_bears_is_not_restarted():
    log = Log(plan(STRONG.replace("1.120", "1.160")))
    log.read(20, 1.150)
    for hours in (500, 524, 548):
        log.read(hours, 1.030)
    assert not restart_plan(log.at(549)).worth_it


def test_near_what_yeast_bears_the_step_is_the_one_called_likelier_to_succeed():
    log = Log(plan(STRONG.replace("1.120", "1.150")))
    for day, gravity in ((1, 1.14), (4, 1.1), (10, 1.06), (14, 1.045), (17, 1.045), (21, 1.045)):
        log.read(24 * day, gravity, temperature_c=20, ph=3.5)
    now = log.at(505)
    of = assess(now, log.stands())
    restart = restart_plan(now, of)
    assert restart.worth_it
    assert any("likelier to succeed" in one for one in restart.give_up)
    step = next_step(
        now, log.outlook(505), watch(now, (), assessed=of), UTC,
        assessed=of, diagnosis=diagnose(now), restart=restart,
    )  # fmt: skip
    assert step.sentence.startswith("Blend it, or stabilise it and keep it sweet: at 14.")
    assert step.sentence.endswith("a restart seldom takes.")


def test_low_ph_is_mended_before_the_restart():
    home = plan(STRONG.replace('profile = "us"', 'profile = "home"'))
    first = restart_plan(replace(stuck_log(fed=True, ph=2.95).at(193), plan=home)).first
    assert any("2.95" in line and "bicarbonate" in line for line in first)


def test_a_law_with_an_acid_floor_leaves_no_salt_while_nobody_measured_the_acid():
    now = stuck_log(fed=True, ph=2.95).at(193)
    assert now.plan.profile == "us"
    found = salt_advice(now, assess(now), None)
    assert found.kind == "none"
    assert "5.0 g/L" in found.caution
    assert found.words.startswith("Add no salt, give no ammonium")
    of = assess(now)
    sour = replace(of, held=replace(of.held, acidity_g_l=6.5))
    assert salt_advice(now, sour, None).kind == "add"
    assert any("2.95" in line and "no salt" in line for line in restart_plan(now).first)


def test_a_salt_that_is_in_asks_for_a_reading_and_not_for_more():
    log = stuck_log(fed=True, ph=2.95)
    home = plan(STRONG.replace('profile = "us"', 'profile = "home"'))
    now = replace(log.at(193), plan=home)
    assert salt_advice(now, assess(now), None).kind == "add"
    log.add(192, FeedGiven((Given("potassium_bicarbonate", 4.0),)))
    now = replace(log.at(193), plan=home)
    of = assess(now, log.stands())
    found = salt_advice(now, of, None)
    assert (found.kind, found.words) == ("read", "Read pH and gravity")
    assert found.at == now.moment(192 + 12)
    said = [f.do for f in watch(now, (), ph=None, assessed=of) if f.rule == "ph_low"]
    assert said
    assert all("Add" not in one for one in said)
    assert not any("Add" in line or "add" in line for line in restart_plan(now, of).first)


def test_a_dry_batch_is_not_told_to_feed_what_it_never_got():
    log = steady(0.012, 8)
    for day in range(20, 50, 5):
        log.read(24 * day, 0.990, temperature_c=20)
    state = log.at(24 * 46)
    assert any(s.state == "ahead" for s in state.feeds)
    step = next_step(state, log.outlook(24 * 46), watch(state, log.stands()), UTC)
    assert step.kind == "finish"


def test_words_are_in_the_makers_own_degrees():
    fahrenheit = Log(plan(STRONG.replace("20 C", "68 F")))
    for log, said in ((Log(), "32 °C in the must"), (fahrenheit, "89.6 °F in the must")):
        log.read(30, 1.110, temperature_c=32.0)
        found = seen(log, 31)["too_warm"]
        assert said in found.evidence
        assert ("°F" in found.evidence) != ("°C" in found.evidence)


def test_a_fall_is_told_with_the_hour_it_was_read_at():
    log = Log()
    log.read(20, 1.120, temperature_c=20)
    found = seen(log, 60)["no_start"]
    assert "read 20 h after pitch" in found.evidence
    assert not found.sure


def test_what_was_read_long_ago_is_said_to_be_old_and_believed_less():
    log = steady(0.003, 6)
    fresh, old = (seen(log, hours)["sluggish"] for hours in (146, 24 * 16))
    assert fresh.sure
    assert "ago" not in fresh.evidence
    assert not old.sure
    assert old.evidence.endswith("Last read 10 days ago.")
    assert old.confidence == pytest.approx(0.6 * fresh.confidence, rel=0.02)  # fresh is cut at 0.99
    assert old.title.startswith("Perhaps")


def test_a_stand_over_days_speaks_for_as_long_again():
    log = steady(0.012, 5)
    for day in range(6, 11):
        log.read(24 * day, 1.070)
    last = 24 * 10
    assert seen(log, last + 40)["stuck"].sure, "it stood for four days before"
    old = seen(log, last + 24 * 8)["stuck"]
    assert not old.sure
    assert "Last read 8 days ago." in old.evidence


def test_a_temperature_read_long_ago_is_said_to_be_old():
    log = Log()
    log.read(30, 1.110, temperature_c=33)
    fresh, old = (seen(log, hours)["too_warm"] for hours in (31, 30 + 60))
    assert fresh.sure
    assert "ago" not in fresh.evidence
    assert not old.sure
    assert "read 2 days ago; this yeast" in old.evidence
    moved = Log()
    moved.read(30, 1.110)
    moved.add(40, Event("moved", temperature_c=33.0))
    assert seen(moved, 41)["too_warm"].sure


def test_a_mead_that_stands_still_is_believed_and_its_last_day_named():
    log = Log()
    dry = plan().must.dry_gravity
    for day, gravity in ((1, 1.1), (10, 1.03), (25, dry + 0.001), (32, dry), (40, dry + 0.001)):
        log.read(24 * day, gravity, temperature_c=20)
    soon, late = (seen(log, 24 * day)["settled"] for day in (41, 65))
    assert "ago" not in soon.evidence
    assert late.evidence.endswith("Last read 25 days ago.")
    assert late.sure
    assert late.confidence == pytest.approx(soon.confidence)


def test_a_feed_whose_hour_has_passed_waits_for_the_reading_that_shows_it():
    log = Log()
    for hours, feed in zip((10, 24), plan().feeds, strict=False):
        dose = feed.doses[0]
        log.add(hours, FeedGiven((Given(dose.nutrient, dose.grams),), feed.key))
    log.read(24, 1.114, temperature_c=20)
    log.read(36, 1.108, temperature_c=20)

    def said(hours):
        state = log.at(hours)
        return next_step(state, log.outlook(hours), watch(state, log.stands()), UTC).sentence

    assert ", when gravity reaches 1.093: " in said(37)
    assert "Read gravity and temperature now: " in said(70)
    assert "goes in at 1.093 or less" in said(70)


def test_a_slow_end_at_what_its_yeast_bears_is_not_called_slow():
    log = Log(plan(STRONG.replace("1.120", "1.140")))
    for day, gravity in ((4, 1.100), (7, 1.066), (10, 1.038), (14, 1.020), (18, 1.014)):
        log.read(24 * day, gravity, temperature_c=20.0)
    now = log.at(24 * 18)
    assert assess(now, log.stands()).alcohol_pct > now.plan.yeast.tolerance_pct
    assert "sluggish" not in seen(log, 24 * 18)


def test_one_that_stopped_unfed_is_not_told_to_feed():
    log = stuck_log(fed=False)
    now = log.at(193)
    of = assess(now, log.stands())
    assert of.phase == "stopped short"
    found = {f.rule for f in watch(now, (), assessed=of)}
    assert "stuck" in found
    assert "unfed" not in found


def test_a_feed_is_not_held_out_long_after_its_hour():
    log = Log()

    def said(hours):
        state = log.at(hours)
        return next_step(state, log.outlook(hours), watch(state, log.stands()), UTC).sentence

    assert "the next feed waits for one" in said(60)
    latest = max(feed.high_h for feed in plan().feeds)
    for hours in (latest + 1, 24 * 93):
        assert said(hours).startswith("Read gravity and temperature now: nothing was read in the ")
        assert "feed" not in said(hours)


def test_feeds_missed_says_no_more_feed_once_the_plan_is_past_feeding():
    log = Log()
    log.read(24, 1.110, temperature_c=20)
    log.read(72, 1.075, temperature_c=20)
    early = seen(log, 73)["unfed"]
    assert log.at(73).sugar_used < plan().last_moment
    assert "autolysed-yeast nutrient" in early.do
    log.read(144, 1.030, temperature_c=20)
    late = seen(log, 145)["unfed"]
    assert log.at(145).sugar_used > plan().last_moment
    assert late.do.startswith("Record them if they were given. Feed nothing more")
    assert "stop short" not in late.do


def test_days_without_a_reading_are_told_in_days():
    assert "in the 9 days since pitch" in seen(Log(), 9 * 24)["no_start"].evidence


def test_a_reading_dated_long_before_the_pitch_is_named_with_its_date():
    """A wrong year was kept and then silently did not count."""
    log = steady(0.012, 3, temperature_c=20)
    log.read(-20, 1.121)  # the evening before: counts
    assert "early_reading" not in seen(log, 73)
    log.read(-365 * 24, 1.082)
    found = seen(log, 73)["early_reading"]
    assert found.evidence == (
        "The reading of gravity 1.082 is dated 2030-05-01, 365 days before the pitch, and does not "
        "count. Check the date."
    )
    assert any("24 h" in line for line in found.thresholds)
    log.add(-366 * 24, Reading(ph=3.4))
    log.add(-364 * 24, Reading(gravity=1.07, ph=3.5))
    found = seen(log, 73)["early_reading"]
    assert found.evidence == (
        "The reading of pH 3.40 is dated 2030-04-30, 366 days before the pitch, and does not "
        "count. Check the date. So are 2 more, the latest dated 2030-05-02."
    )


def test_a_reading_that_is_taken_back_or_of_a_batch_not_pitched_is_not_too_early():
    log = steady(0.012, 3, temperature_c=20)
    early = log.read(-400 * 24, 1.08)
    assert "early_reading" in seen(log, 73)
    log.add(73, Removal(early.id))
    assert "early_reading" not in seen(log, 73)
    waiting = Log(pitched=False)
    waiting.read(-72, 1.118)
    assert waiting.at(1).early == ()


def test_after_sweetening_a_reading_with_a_wrong_year_is_named_too():
    log = steady(0.012, 8, temperature_c=20)
    log.add(24 * 9, StepDone("sweeten", {}))
    log.read(-365 * 24, 1.02)
    assert "early_reading" in seen(log, 24 * 9 + 1)
