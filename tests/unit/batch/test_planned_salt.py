"""The salt of a batch's plan: kept, printed, in the calendar, and due as a pH to read."""

from __future__ import annotations

from datetime import UTC, timedelta
from functools import cache

import pytest
from icalendar import Calendar

from batches import CLOVER, PITCHED
from databases import store_of
from mustwright.batch.calendar import calendar_text
from mustwright.batch.codec import record_from
from mustwright.batch.entries import FeedGiven, Given, PlanAdopted, Reading
from mustwright.batch.log_text import said
from mustwright.batch.paper import paper_of
from mustwright.batch.plan import BatchPlan
from mustwright.plain_data import data_of
from mustwright.services.batch import record
from mustwright.services.batch.batch_view import look

SOUR = CLOVER.replace("[yeast]", "[measured]\nph = 3.3\n[yeast]")


@cache
def sour_plan() -> BatchPlan:
    return record.plan_of(SOUR, "halves_at_onset_and_third", {})


@pytest.fixture
def bench(tmp_path):
    clock = [PITCHED]
    with store_of("sqlite", tmp_path, lambda: clock[0]) as store:
        ledger = store.ledger
        slug = record.start_batch(
            ledger, sour_plan(), "Sour", now=PITCHED, pitched_at=PITCHED, sheet=""
        ).slug

        def write(hours, what):
            clock[0] = PITCHED + timedelta(hours=hours)
            record.write(ledger, slug, what, at=clock[0])

        def seen(hours):
            return look(ledger, slug, PITCHED + timedelta(hours=hours), UTC)

        yield write, seen


def test_a_plan_keeps_its_salt_and_comes_back_from_its_json():
    salt = sour_plan().salt
    assert salt is not None
    assert salt.grams > 0
    assert record_from(BatchPlan, data_of(sour_plan()), "plan") == sour_plan()
    assert f"{salt.grams:g} g potassium bicarbonate if the pH is low" in said(
        PlanAdopted(sour_plan())
    )


def test_the_ph_is_read_when_the_salt_falls_due_and_the_reading_decides(bench):
    write, seen = bench
    assert [r.name for r in paper_of(seen(1), UTC).feeds].count("Read pH") == 1
    events = Calendar.from_ical(calendar_text([seen(1)], "all", UTC)).walk("VEVENT")
    (salt,) = [e for e in events if "potassium bicarbonate" in str(e["summary"])]
    assert str(salt["status"]) == "TENTATIVE"
    described = str(salt["description"])
    assert all(words in described for words in ("it foams", "makes it erupt", "Dust irritates"))
    assert described.count("headspace") == 1
    write(20, Reading(gravity=1.098, temperature_c=20.0))
    write(21, FeedGiven((Given("dap", 4.0),), "f1"))
    write(40, Reading(gravity=1.080, temperature_c=20.0))
    step = seen(40.5).step
    assert step.sentence.startswith("Read pH now: the plan has")
    assert "under pH 3.5" in step.sentence
    assert len(step.sentence.split()) <= 25
    assert "Foams" in step.caution
    write(41, Reading(gravity=1.079, ph=3.8, temperature_c=20.0))
    now = seen(41.5)
    assert not now.step.sentence.startswith("Read pH now: the plan has")
    assert [r.name for r in paper_of(now, UTC).feeds].count("Read pH") == 0
    events = Calendar.from_ical(calendar_text([now], "all", UTC)).walk("VEVENT")
    (salt,) = [e for e in events if "potassium bicarbonate" in str(e["summary"])]
    assert str(salt["status"]) == "CANCELLED"


def test_a_salt_that_went_in_leaves_the_rest_to_the_readings(bench):
    write, seen = bench
    write(20, Reading(gravity=1.098, temperature_c=20.0))
    write(21, FeedGiven((Given("potassium_bicarbonate", 2.0),)))
    write(40, Reading(gravity=1.080, temperature_c=20.0))
    assert "the plan has" not in seen(40.5).step.sentence


def test_after_a_salt_the_reading_that_shows_it_comes_first(bench):
    write, seen = bench
    write(20, Reading(gravity=1.098, temperature_c=20.0))
    write(21, FeedGiven((Given("dap", 4.0),), "f1"))
    write(40, Reading(gravity=1.085, ph=3.1, temperature_c=20.0))
    write(41, FeedGiven((Given("potassium_bicarbonate", 4.0),)))
    step = seen(41.5).step
    assert step.lead == "Read pH and gravity"
    assert step.at == PITCHED + timedelta(hours=53)


def test_no_caution_stands_twice_in_a_calendar(bench):
    write, seen = bench
    write(20, Reading(gravity=1.098, temperature_c=20.0))
    text = calendar_text([seen(20.5)], "all", UTC)
    for event in Calendar.from_ical(text).walk("VEVENT"):
        said = str(event["description"])
        assert len(said.splitlines()) == len(set(said.splitlines()))
        assert said.count("makes it erupt") <= 1
        assert said.count("Leave the ammonium out") <= 1


def test_a_late_feed_does_not_wait_for_the_ph_of_a_salt(bench):
    write, seen = bench
    write(20, Reading(gravity=1.098, temperature_c=20.0))
    write(44, Reading(gravity=1.080, temperature_c=20.0))
    assert seen(62).step.sentence.startswith("Feed ")
    assert "late" in seen(62).step.sentence


def test_a_salt_is_not_asked_for_once_feeding_is_over(bench):
    write, seen = bench
    write(20, Reading(gravity=1.098, temperature_c=20.0))
    write(120, Reading(gravity=1.030, temperature_c=20.0))
    now = seen(120.5)
    assert now.progress.sugar_used > sour_plan().last_moment
    assert "the plan has" not in now.step.sentence
    assert [r.name for r in paper_of(now, UTC).feeds].count("Read pH") == 0
    events = Calendar.from_ical(calendar_text([now], "all", UTC)).walk("VEVENT")
    (salt,) = [e for e in events if "potassium bicarbonate" in str(e["summary"])]
    assert str(salt["status"]) == "CANCELLED"
