"""A batch followed with its own kinetic forecast: bends to readings, never makes a page wait."""

from __future__ import annotations

import threading
import time
from dataclasses import replace
from datetime import UTC, timedelta

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from batches import PITCHED, STRONG, Log, plan
from databases import store_of
from mustwright.batch.diagnosis import BY_EVIDENCE, BY_RUNS, diagnose
from mustwright.batch.entries import EVENTS, Event, FeedGiven, Given, Note, Reading
from mustwright.batch.forecast import foresee
from mustwright.batch.forecast_record import FORM, Releases, foreseen_from, foreseen_text
from mustwright.batch.kinetic_inputs import NITROGEN_NOTE, SUGAR_NOTE, case_of
from mustwright.batch.kinetic_outlook import KineticOutlook
from mustwright.batch.outlook import NEVER_H, PaceOutlook
from mustwright.batch.view_json import view_data
from mustwright.kinetics.forecast import fermentations
from mustwright.kinetics.ready import warm_up
from mustwright.pages_first import PagesFirst
from mustwright.recent import Recent
from mustwright.services.batch import forecaster as forecaster_module
from mustwright.services.batch import record
from mustwright.services.batch.batch_view import look
from mustwright.services.batch.forecaster import WORKING, Forecaster, work_out
from mustwright.services.batch.worklist import due_today

KNOWN = STRONG.replace('gravity = "1.120"', 'gravity = "1.120"\nyan_mg_l = "40 mg/L"')
WARM = KNOWN.replace("20 C", "35 C")
TRUTHS = 900  # seed of made-up fermentations; forecasts draw from another
MEMBER = 4


@pytest.fixture(scope="module", autouse=True)
def _compiled():
    warm_up()


def fed(log: Log, hours: float, key: str) -> None:
    feed = log.entries[0].what.plan.feed(key)
    log.add(hours, FeedGiven(tuple(Given(d.nutrient, d.grams) for d in feed.doses), key))


def truth(log: Log, hours: list[float]) -> list[float]:
    """Gravities of one made-up fermentation of this batch, feeds ahead left out."""
    case = case_of(log.at(max(hours) + 1), log.stands())
    run = fermentations(
        case.must, case.given, case.conditions, 32, TRUTHS, at_h=np.array(hours)
    ).run
    return [round(float(g), 4) for g in run.gravity[np.searchsorted(run.times_h, hours), MEMBER]]


def told(log: Log, hours: float, **more):
    return foresee(log.at(hours), log.stands(), len(log.entries), **more)


def outlook(log: Log, hours: float) -> KineticOutlook:
    return KineticOutlook(log.at(hours), told(log, hours))


def width(log: Log, hours: float, at: float) -> float:
    band = outlook(log, hours).band([at])
    return band.high[0] - band.low[0]


def fed_all(of=None) -> Log:
    log = Log(of or plan(KNOWN))
    for hours, key in ((14, "f1"), (40, "f2"), (54, "f3"), (72, "f4")):
        fed(log, hours, key)
    return log


# What the forecast does ---------------------------------------------------------------------------


def test_bands_narrow_as_readings_come_and_hold_what_comes_next():
    log = fed_all()
    hours = [24.0, 48, 72, 96, 120, 168]
    gravity = truth(log, hours)
    widths, inside = [width(log, 73, 168)], 0
    for h, g, later in zip(hours, gravity, hours[1:], strict=False):
        log.read(h, g, temperature_c=20)
        widths.append(width(log, max(h + 1, 73), 168))
        band = outlook(log, max(h + 1, 73)).band([later])
        inside += band.low[0] <= gravity[hours.index(later)] <= band.high[0]
    # 0.50 to 0.59 by the made-up fermentation taken: a must that was only measured is forecast
    # narrower before it is read than it was (0.027 for 0.032), and one run in four may turn
    # sluggish past the latest reading, so that the third reading may widen what is ahead
    assert widths[-1] < 0.65 * widths[0]
    assert widths[-1] < 0.75 * widths[1]
    assert inside >= 4, "of five 90 % bands"


def test_a_faster_ferment_moves_the_next_feed_earlier():
    due = []
    for gravity in (1.114, 1.109, 1.104):
        log = Log(plan(KNOWN))
        fed(log, 14, "f1")
        log.read(36, gravity, temperature_c=20)
        span = outlook(log, 37).due(plan(KNOWN).feed("f3").rule)
        assert span.low_h <= span.expected_h <= span.high_h
        due.append(span.expected_h)
    # 4.1 and 3.0 h (5.0 and 3.5 before): what is ahead at 36 h began early rather than runs quickly
    assert due[0] > due[1] + 3
    assert due[1] > due[2] + 2.5


def stuck(sheet: str, *, feed: bool, temperature_c: float) -> tuple[Log, float]:
    of = plan(sheet)
    log = fed_all(of) if feed else Log(of)
    if not feed:
        for key in ("f1", "f2", "f3", "f4"):
            log.add(1, FeedGiven((), key, skipped=True))
    log.add(0.5, Reading(temperature_c=temperature_c, ph=3.6))
    hours = [24.0, 72, 144, 216, 264, 312, 336, 360]
    for h, g in zip(hours, truth(log, hours), strict=True):
        log.read(h, g, temperature_c=temperature_c, ph=3.6)
    return log, 361


def test_a_stuck_ferment_raises_the_chance_of_sticking():
    log, hours = stuck(WARM, feed=True, temperature_c=35)
    healthy = fed_all()
    for h, g in zip([24.0, 72, 120], truth(healthy, [24.0, 72, 120]), strict=True):
        healthy.read(h, g, temperature_c=20)
    before = told(healthy, 121).chance_of_sticking
    found = told(log, hours)
    assert found.chance_of_sticking > max(0.9, before + 0.2)
    assert found.hours_to_dry.p50 is None
    assert KineticOutlook(log.at(hours), found).used(1.0).expected_h == NEVER_H


@pytest.mark.parametrize(
    ("sheet", "feed", "temperature_c", "first"),
    [(KNOWN, False, 20, "nitrogen"), (WARM, True, 35, "temperature")],
)
def test_causes_are_ranked_by_what_would_have_freed_the_runs(sheet, feed, temperature_c, first):
    log, hours = stuck(sheet, feed=feed, temperature_c=temperature_c)
    found = told(log, hours)
    assert found.explained
    diagnosis = diagnose(log.at(hours), found)
    assert diagnosis.by == BY_RUNS
    assert diagnosis.causes[0].cause == first
    assert diagnosis.causes[0].score > 0.4
    assert found.releases.share[first] > 0.6
    assert "of the runs" in diagnosis.causes[0].evidence[0]
    assert sum(c.score for c in diagnosis.causes) == pytest.approx(1)
    one, two = diagnosis.causes[:2]
    assert one.title[1:] in diagnosis.measure_first
    assert two.title[1:] in diagnosis.measure_first
    others = [v for k, v in found.releases.share.items() if k != first]
    assert max(others) < found.releases.share[first]


def test_runs_neither_blame_alcohol_far_from_its_limit_nor_clear_a_must_that_was_cooled():
    log = fed_all()
    for h, g in ((24, 1.110), (72, 1.085), (120, 1.075), (168, 1.075), (192, 1.075)):
        log.read(h, g, temperature_c=14)
    found = told(log, 193)
    shares = dict.fromkeys(("nitrogen", "temperature", "too_little_yeast", "ph_potassium"), 0.0)
    runs = Releases(193.0, 0.9, shares | {"alcohol": 0.9})
    cool = diagnose(log.at(193), replace(found, explained=True, releases=runs))
    assert cool.by == BY_RUNS
    causes = {c.cause: c for c in cool.causes}
    assert causes["temperature"].score > causes["alcohol"].score
    assert not any("of the runs" in said for said in causes["alcohol"].evidence)


def test_runs_that_no_cause_frees_say_nothing_of_causes():
    log = fed_all()
    for h, g in ((24, 1.110), (72, 1.085), (120, 1.075), (168, 1.075), (192, 1.075)):
        log.read(h, g, temperature_c=20, ph=3.0)
    shares = dict.fromkeys(("nitrogen", "temperature", "too_little_yeast", "ph_potassium"), 0.0)
    found = replace(
        told(log, 193), explained=True, releases=Releases(193.0, 0.9, shares | {"alcohol": 0.02})
    )
    diagnosis = diagnose(log.at(193), found)
    assert diagnosis.by == BY_EVIDENCE
    assert not any("go on once" in said for c in diagnosis.causes for said in c.evidence)


def test_without_runs_that_fit_the_evidence_ranks_the_causes_and_doubts_the_instrument():
    log = fed_all()
    for h, g in ((24, 1.110), (48, 1.06), (72, 1.06), (96, 1.06), (120, 1.06)):
        log.read(h, g, temperature_c=20, ph=3.6)
    found = told(log, 121)
    assert not found.explained
    diagnosis = diagnose(log.at(121), found)
    assert diagnosis.by == BY_EVIDENCE
    scores = {c.cause: c.score for c in diagnosis.causes}
    assert (
        scores["instrument"]
        > {c.cause: c.score for c in diagnose(log.at(121)).causes}["instrument"]
    )
    assert found.message in next(c for c in diagnosis.causes if c.cause == "instrument").evidence


def test_the_odd_reading_is_named_by_its_entry():
    log = fed_all()
    hours = [24.0, 48, 72, 96, 120]
    for h, g in zip(hours, truth(log, hours), strict=True):
        log.read(h, g + (0.03 if h == 72 else 0), temperature_c=20)
    wrong = next(e for e in log.entries if e.at == PITCHED + timedelta(hours=72) and
                 isinstance(e.what, Reading))  # fmt: skip
    found = told(log, 121)
    assert (found.explained, found.met, found.odd_entry) == (False, True, wrong.id)
    assert "72 h" in found.message
    latest = fed_all()
    for h, g in zip(hours, truth(latest, hours), strict=True):
        latest.read(h, g - (0.03 if h == 120 else 0), temperature_c=20)
    assert not told(latest, 121).met, "an odd latest reading may be the model's own fault"


def test_the_same_log_gives_the_same_forecast():
    log = fed_all()
    log.read(24, 1.112, temperature_c=20)
    assert told(log, 73) == told(log, 73)
    found = told(log, 73)
    assert foreseen_from(foreseen_text(found)) == found
    assert foreseen_from("{}") is None
    assert foreseen_from(foreseen_text(found).replace(f'"form":{FORM}', '"form":1')) is None


def test_feeds_count_when_and_as_much_as_they_were_given():
    log = Log(plan(KNOWN))
    log.add(30, FeedGiven((Given("dap", 5.0),), "f1"))
    case = case_of(log.at(31), log.stands())
    (given_,) = case.given
    assert given_.trigger.at_h == pytest.approx(30)
    dap = plan(KNOWN).jar("dap").mg_g["ammonium_n"]
    assert given_.ammonium_n_mg_l == pytest.approx(5 * dap / 19, rel=1e-3)
    assert case.open_keys == ("f2", "f3", "f4")
    assert all(feed.trigger.not_before_h == pytest.approx(31) for feed in case.open)
    late = told(log, 31)
    early = Log(plan(KNOWN))
    early.add(12, FeedGiven((Given("dap", 15.0),), "f1"))
    assert told(early, 31).used_h.p50[20] < late.used_h.p50[20]


def test_temperatures_are_followed_and_a_move_lasts():
    log = fed_all()
    log.read(24, 1.112, temperature_c=21)
    log.add(74, Event("moved", temperature_c=12))
    conditions = case_of(log.at(100), log.stands()).conditions
    assert conditions.temperature_c == 12
    assert conditions.measured_c[0] == (24, 21)
    assert conditions.measured_c[-1] == (86, 12)
    still = fed_all()
    still.read(24, 1.112, temperature_c=21)
    assert told(log, 100).used_h.p50[30] > told(still, 100).used_h.p50[30] + 24


def test_honey_on_the_way_is_counted_and_said():
    log = fed_all()
    log.read(24, 1.112)
    log.read(70, 1.085)
    log.add(71, Event("honey_in"))
    log.read(72, 1.100)
    case = case_of(log.at(73), log.stands())
    assert SUGAR_NOTE in case.notes
    assert case.must.gravity == pytest.approx(1.135, abs=0.003)
    assert [round(r.gravity, 3) for r in case.readings] == [1.127, 1.100, 1.100]
    assert told(log, 73).chance_of_sticking >= told(fed_all(), 73).chance_of_sticking


def test_a_must_of_unknown_nitrogen_is_forecast_with_a_range():
    assert NITROGEN_NOTE in told(Log(), 1).notes
    assert NITROGEN_NOTE not in told(Log(plan(KNOWN)), 1).notes


def test_a_device_that_reads_all_the_time_counts_as_a_few_readings():
    log = fed_all()
    for k in range(600):
        log.read(1 + k * 0.25, round(1.120 - 0.0001 * k, 4), instrument="sensor")
    case = case_of(log.at(152), log.stands())
    assert 30 <= len(case.readings) <= 42
    assert case.readings[-1].t_h > 148
    assert [r.t_h for r in case.readings] == sorted(r.t_h for r in case.readings)


POTASH = FeedGiven((Given("potassium_carbonate", 1.0),))
WHAT = st.one_of(
    st.builds(lambda g: Reading(gravity=round(g, 3)), st.floats(0.95, 1.25)),
    st.builds(lambda t: Reading(temperature_c=t), st.floats(-10, 60)),
    st.builds(lambda p: Reading(ph=p), st.floats(1.5, 8)),
    st.builds(lambda g: FeedGiven((Given("dap", g),)), st.floats(0, 5000)),
    st.builds(lambda g: FeedGiven((Given("potassium_carbonate", g),)), st.floats(0, 5000)),
    st.builds(lambda p: Reading(ph=p, ph_by="strip"), st.floats(1.5, 8)),
    st.builds(lambda b: Reading(brix=b, instrument="refractometer"), st.floats(-5, 40)),
    st.builds(
        lambda what, t: Event(what, temperature_c=t),
        st.sampled_from([e for e in EVENTS if e not in ("pitched", "bottled", "ended")]),
        st.one_of(st.none(), st.floats(-10, 60)),
    ),
)


@pytest.mark.filterwarnings("ignore::mustwright.errors.ValidityWarning")  # fruit beyond any must
@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(-30, 4200), WHAT), max_size=8))
@example([(4000.0, Reading(ph=2.0)), (4000.0, POTASH)])  # at the very end of what is looked at
@example([(0.0, Reading(ph=2.0)), (4000.0, POTASH)])
def test_whatever_was_written_a_forecast_comes_out(lines):
    log = Log(plan(KNOWN))
    for hours, what in sorted(lines, key=lambda line: line[0]):
        log.add(hours, what)
    end = max([hours for hours, _ in lines] + [0]) + 1
    found = told(log, end, members=64)
    assert foreseen_from(foreseen_text(found)) == found
    now = log.at(end)
    seen = KineticOutlook(now, found)
    band = seen.band([0.0, end])
    assert all(low <= high for low, high in zip(band.low, band.high, strict=True))
    for fraction in (0.1, 0.5, 1.0):
        span = seen.used(fraction)
        assert 0 <= span.low_h <= span.expected_h <= span.high_h <= NEVER_H


def test_a_plan_whose_sheet_cannot_be_read_is_forecast_from_its_figures():
    from dataclasses import replace

    log = Log(replace(plan(KNOWN), sheet="nothing = ["))
    log.read(24, 1.112)
    found = told(log, 25)
    assert any("plain figures" in note for note in found.notes)
    assert found.explained


# How it comes to the page -------------------------------------------------------------------------


class Bench:
    def __init__(self, store) -> None:
        self.ledger, self.now = store.ledger, PITCHED
        of = plan(KNOWN)
        made = record.start_batch(self.ledger, of, "Heather", now=PITCHED, pitched_at=PITCHED)
        self.slug = made.slug

    def write(self, hours: float, what) -> None:
        self.now = PITCHED + timedelta(hours=hours)
        record.write(self.ledger, self.slug, what, at=self.now)

    def look(self):
        return look(self.ledger, self.slug, self.now, UTC)

    def work(self):
        return work_out(self.ledger, self.slug, self.now)


@pytest.fixture
def bench(tmp_path):
    with store_of("sqlite", tmp_path, lambda: PITCHED + timedelta(days=400)) as store:
        yield Bench(store)


def until(true, seconds: float = 60.0):
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if (found := true()) is not None and found is not False:
            return found
        time.sleep(0.02)
    raise AssertionError("did not come about")


def test_a_kept_forecast_is_used_and_dropped_when_the_log_says_otherwise(bench):
    bench.write(16, Reading(gravity=1.117, temperature_c=20))
    assert isinstance(bench.look().outlook, PaceOutlook)
    made = bench.work()
    view = bench.look()
    assert isinstance(view.outlook, KineticOutlook)
    assert view.foreseen == made
    assert not view.pending
    assert view_data(view)["forecast"]["model"]["chance_of_sticking"] == made.chance_of_sticking
    bench.write(17, Note("smells of bread"))
    assert isinstance(bench.look().outlook, KineticOutlook)
    low, high = (made.gravity.p05, made.gravity.p95)
    k = made.times_h.index(24.0)
    bench.write(24, Reading(gravity=round((low[k] + high[k]) / 2, 4)))
    assert isinstance(bench.look().outlook, KineticOutlook), "as foreseen"
    bench.write(25, Reading(gravity=1.07))
    assert isinstance(bench.look().outlook, PaceOutlook), "not as foreseen"
    record.undo(bench.ledger, bench.slug, now=bench.now)
    bench.work()
    bench.write(26, FeedGiven((Given("dap", 3.0),), "f1"))
    assert isinstance(bench.look().outlook, PaceOutlook), "fed since"


def test_feeds_not_given_make_a_forecast_old_after_half_a_day(bench):
    bench.write(16, Reading(gravity=1.117, temperature_c=20))
    bench.work()
    worker = Forecaster(bench.ledger, lambda: bench.now)
    forecaster_module._forecasters[bench.ledger] = worker  # it only takes questions
    bench.now = PITCHED + timedelta(hours=20)
    assert not bench.look().pending
    bench.now = PITCHED + timedelta(hours=30)
    view = bench.look()
    assert view.pending
    assert isinstance(view.outlook, KineticOutlook)
    worker.stop()


def test_the_forecaster_works_behind_the_pages_and_the_list_learns_of_it(bench):
    from mustwright.services.batch.worklist import renew_digest

    bench.write(16, Reading(gravity=1.117, temperature_c=20))
    worker = Forecaster(
        bench.ledger,
        lambda: bench.now,
        lambda slug: renew_digest(bench.ledger, slug, bench.now, UTC),
    )
    worker.start()
    try:
        first = bench.look()
        assert first.pending
        assert first.outlook.name.endswith(WORKING)
        view = until(lambda: (v := bench.look()).foreseen is not None and not v.pending and v)
        assert isinstance(view.outlook, KineticOutlook)
        digest = until(lambda: bench.ledger.batch(bench.slug).digest)
        assert view.step.lead in digest
        bench.write(40, Reading(gravity=1.108, temperature_c=20))
        until(lambda: (v := bench.look()).foreseen is not None and v.foreseen.until_h == 40)
        assert due_today(bench.ledger, bench.now, UTC, budget_s=5).stale == 0
    finally:
        worker.stop()
    assert not bench.look().pending


def test_a_look_does_not_wait_for_the_model(bench, monkeypatch):
    working = set()

    def slow(*_args, **_more):
        working.add(threading.current_thread())
        raise RuntimeError("not of interest here")

    monkeypatch.setattr("mustwright.batch.forecast.foresee", slow)
    monkeypatch.setattr(forecaster_module, "raise_in_log", lambda _error: None)
    for k in range(200):
        bench.write(1 + k / 10, Reading(gravity=1.12 - 0.0001 * k, temperature_c=20))
    worker = Forecaster(bench.ledger, lambda: bench.now)
    worker.start()
    for _ in range(5):
        bench.look()
    worker.stop()
    assert threading.current_thread() not in working


def test_a_forecast_that_fails_is_said_and_not_tried_again(bench, monkeypatch):
    tried = []

    def fails(*_args, **_more):
        tried.append(1)
        raise ValueError("out of range")

    monkeypatch.setattr("mustwright.batch.forecast.foresee", fails)
    monkeypatch.setattr(forecaster_module, "raise_in_log", lambda _error: None)
    worker = Forecaster(bench.ledger, lambda: bench.now)
    worker.start()
    try:
        bench.look()
        view = until(lambda: not (v := bench.look()).pending and v)
        assert "no forecast" in view.outlook.name
        for _ in range(3):
            bench.look()
        assert len(tried) == 1
        bench.write(5, Note("a new line, a new try"))
        assert bench.look().pending
    finally:
        worker.stop()


def test_a_forecast_gives_way_in_small_steps_and_comes_though_somebody_always_waits(bench):
    class Counted(PagesFirst):
        times = 0

        def give_way(self):
            self.times += 1
            super().give_way()

    bench.write(16, Reading(gravity=1.117, temperature_c=20))
    bench.write(40, Reading(gravity=1.108, temperature_c=20))
    turns = Counted()
    worker = Forecaster(bench.ledger, lambda: bench.now, turns=turns)
    worker.start()
    try:
        with turns.answering():
            bench.look()
            until(lambda: (v := bench.look()).foreseen is not None and not v.pending)
            assert turns.waiting == 1
        assert turns.times > 15, "else it keeps whoever waits waiting for long"
    finally:
        worker.stop()


def test_nothing_is_worked_out_again_by_the_next_process_while_the_log_is_the_same(
    bench, tmp_path, monkeypatch
):
    bench.write(16, Reading(gravity=1.117, temperature_c=20))
    made = bench.work()
    worked = []
    monkeypatch.setattr("mustwright.batch.forecast.foresee", lambda *a, **_: worked.append(a))
    with store_of("sqlite", tmp_path, lambda: PITCHED + timedelta(days=400)) as again:
        worker = Forecaster(again.ledger, lambda: bench.now)
        worker.start()
        try:
            view = look(again.ledger, bench.slug, bench.now, UTC)
            assert (view.foreseen, view.pending) == (made, False)
        finally:
            worker.stop()
    assert worked == []


def test_a_closed_batch_is_left_alone(bench):
    bench.write(16, Reading(gravity=1.117))
    bench.work()
    bench.write(900, Event("bottled"))
    assert bench.work() is None
    assert isinstance(bench.look().outlook, PaceOutlook)


def test_what_was_asked_for_last_is_remembered_up_to_a_weight():
    kept: Recent[str] = Recent(10, len)
    for word in ("four", "five5", "six"):
        kept.keep(word, word)
    assert [kept.get(w) for w in ("four", "five5", "six")] == [None, "five5", "six"]
    kept.keep("five5", "x")
    kept.drop("six")
    kept.keep("nine", "ninenine9")
    assert kept.get("five5") == "x"
    assert kept.get("six") is None
