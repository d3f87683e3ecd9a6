"""Whatever a log holds, page, command, list, calendar, print and bench never contradict another."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, timedelta

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from agreement import broken_pairs
from batches import PITCHED, STRONG, Log, plan
from mustwright.batch.entries import (
    Correction,
    Event,
    FeedGiven,
    Given,
    Reading,
    Removal,
    what_data,
)
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.judged_view import judged
from mustwright.batch.one_step import DoseNow
from mustwright.batch.outlook import PaceOutlook
from mustwright.batch.progress import FeedState, progress_of
from mustwright.batch.snapshot import gist_of
from mustwright.batch.view import BatchRecord

SHEETS = (STRONG, STRONG.replace("1.120", "1.100"), STRONG.replace("1.120", "1.085"),
          STRONG.replace("20 C", "65 F"))  # fmt: skip
PROTOCOLS = ("staged_for_strong_musts", "falling_parts_by_sugar_or_day", "label_rate_days_1_2_3",
             "halves_at_onset_and_third")  # fmt: skip
EVENTS = ("moved", "stirred", "honey_in", "racked", "restart_begun", "restart_doubled",
          "restarted", "ph_adjusted", "dry", "stopped", "sulfited", "water_in")  # fmt: skip


def view_at(log: Log, hours: float):
    now = PITCHED + timedelta(hours=hours)
    stands = log.stands()
    gist = gist_of(stands, len(log.entries), until=now)
    state = progress_of(gist, now)
    record = BatchRecord("heather", "Heather", "", len(log.entries), now)
    return judged(record, gist, state, UTC, PaceOutlook(state), read_log=lambda: stands)


@st.composite
def logs(draw):
    """A course that starts, goes on or stops, read with gaps, with feeds, events and changes."""
    of = plan(draw(st.sampled_from(SHEETS)), draw(st.sampled_from(PROTOCOLS)))
    log = Log(of)
    begin, end = of.must.gravity, of.must.dry_gravity
    lag, pace = draw(st.floats(6, 72)), draw(st.floats(0.04, 0.5))
    least = draw(st.sampled_from((0.0, 0.0, 0.02, 0.2, 0.5, 0.8)))
    warm = draw(st.sampled_from((8.0, 18.0, 20.0, 25.6, 31.0)))
    hours = 0.0
    last = None
    for _ in range(draw(st.integers(0, 12))):
        hours += draw(st.sampled_from((6.0, 14.0, 24.0, 24.0, 30.0, 72.0, 200.0)))
        what = draw(st.sampled_from(("read", "read", "read", "read", "feed", "event", "step")))
        left = max(2.718 ** (-pace * max(hours - lag, 0.0) / 24), least)
        gravity = round(
            end + (begin - end) * left + draw(st.sampled_from((0, 0, 0.001, -0.001))), 3
        )
        if what == "read":
            ph = draw(st.sampled_from((None, None, 3.6, 3.2, 2.9)))
            last = log.add(hours, Reading(gravity=gravity, temperature_c=warm, ph=ph))
        elif what == "feed" and of.live_feeds:
            feed = draw(st.sampled_from(of.live_feeds))
            log.add(
                hours, FeedGiven(tuple(Given(d.nutrient, d.grams) for d in feed.doses), feed.key)
            )
        elif what == "event":
            name = draw(st.sampled_from(EVENTS))
            litres = draw(st.sampled_from((None, 17.0))) if name in ("racked", "water_in") else None
            log.add(
                hours, Event(name, temperature_c=warm if name == "moved" else None, litres=litres)
            )
        else:
            log.add(hours, StepDone("stable", measured={"residual_sugar_g_l": 1.0 + 30 * least}))
    if last is not None and draw(st.booleans()):
        change = draw(st.sampled_from(("correct", "remove")))
        if change == "remove":
            log.add(hours + 1, Removal(last.id))
        else:
            after = {**what_data(last.what), "gravity": round(last.what.gravity - 0.002, 3)}
            log.add(hours + 1, Correction(last.id, last.at, last.at, what_data(last.what), after))
    return log, hours + draw(st.sampled_from((1.0, 2.0, 20.0, 60.0, 200.0, 900.0)))


@settings(deadline=None, suppress_health_check=list(HealthCheck))
@given(logs())
def test_no_two_parts_of_a_page_contradict_one_another(made):
    log, hours = made
    assert broken_pairs(view_at(log, hours)) == []


def stopped() -> Log:
    log = Log(plan(SHEETS[1]))
    for day, gravity in ((1, 1.095), (3, 1.070), (5, 1.045), (6, 1.04), (7, 1.04), (9, 1.04)):
        log.read(24 * day, gravity, temperature_c=20.0, ph=3.5)
    return log


def test_the_list_of_pairs_notices_each_kind_of_contradiction():
    """What the parts of a page said before there was one assessment is found by the list."""
    view = view_at(stopped(), 24 * 9 + 1)
    assert broken_pairs(view) == []
    feed = view.progress.plan.feeds[0]
    ahead = replace(
        view.progress, feeds=tuple(FeedState(f.feed, "ahead") for f in view.progress.feeds)
    )
    past = replace(view.step, at=view.progress.now - timedelta(days=2), sentence="Due yesterday.")
    other = replace(view.assessed, held=replace(view.assessed.held, gravity=1.012))
    feeding = replace(
        view.step, kind="feed", feed=feed.key, is_due=True,
        doses=tuple(DoseNow(d.nutrient, d.name, d.grams) for d in feed.doses),
    )  # fmt: skip
    for changed, said in (
        ({"outlook": PaceOutlook(view.progress)}, "stopped short, and nearly dry on a day"),
        ({"findings": ()}, "stopped short, and nothing gives cause to worry"),
        ({"step": past}, "the next step lies in the past"),
        ({"step": replace(feeding, withdrawn="")}, "withdrawn without its name"),
        ({"step": feeding}, "feed what is withdrawn"),
        ({"step": feeding}, "feed ammonium past the third or over 9 %"),
        ({"step": feeding, "progress": ahead}, "feed while stopped short, stale False"),
        ({"assessed": replace(view.assessed, phase="finished")}, "stuck and finished"),
        ({"step": replace(view.step, sentence="word " * 26)}, "26 words"),
    ):
        found = broken_pairs(replace(view, **changed))
        assert any(said in one for one in found), (said, found)
    assert broken_pairs(replace(view, assessed=other)) == [], "every figure is read off it"
