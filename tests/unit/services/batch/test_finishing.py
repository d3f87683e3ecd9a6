"""Finishing steps start from a batch, are written into its log, and count for what comes later."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date

import pytest

from batch_pages import Cellar
from batches import Log, plan
from databases import store_of
from finished import dry_batch
from mustwright.batch.entries import Event, Removal, what_data, what_from
from mustwright.batch.entry_fields import retyped
from mustwright.batch.finishing_record import Added, StepDone
from mustwright.batch.finishing_text import step_words
from mustwright.batch.stability import settled
from mustwright.batch.vessel import vessel
from mustwright.bench.as_json import step_data
from mustwright.bench.batch_start import start_from
from mustwright.bench.step_table import STEPS, run_step, then
from mustwright.compose import Compose
from mustwright.errors import ImpossibleError, InputError, UnlikelyError
from mustwright.finishing.stability import judge_stability
from mustwright.services.batch import record as log
from mustwright.services.batch.batch_view import look
from mustwright.services.batch.export_json import export_json, import_json
from mustwright.services.batch.finishing import filled, record_step, why_not
from mustwright.services.batch.log_table import export_csv, import_csv, preview_csv


class Bench:
    """One dry batch and the bench beside it."""

    def __init__(self, cellar: Cellar, slug: str) -> None:
        self.cellar, self.slug = cellar, slug

    @property
    def view(self):
        return look(self.cellar.ledger, self.slug, self.cellar.now, UTC)

    def start(self, slug: str = ""):
        return start_from(look(self.cellar.ledger, slug or self.slug, self.cellar.now, UTC), UTC)

    def ask(self, step: str, without=(), **typed):
        fields = filled(STEPS[step].fields, typed, self.start(), self.start, without)
        return run_step(step, fields.given, date(2031, 6, 1)), fields

    def do(self, step: str, used=None, sure=False, **typed):
        result, fields = self.ask(step, **typed)
        at = self.cellar.now
        entry = record_step(self.cellar.ledger, result, fields, used or {}, at=at, sure=sure)
        self.cellar.pass_hours(1)
        return entry

    def read(self, **what):
        self.cellar.read(self.slug, 0, what.pop("gravity", 0.991), **what)
        self.cellar.pass_hours(1)

    @property
    def held(self):
        return self.start().held


@pytest.fixture
def bench(tmp_path):
    cellar = Cellar(Compose(tmp_path))
    yield Bench(cellar, dry_batch(cellar))
    cellar.compose.close()


# Starting from the batch ------------------------------------------------------------------------


def test_the_batch_hands_over_what_its_log_says(bench):
    held = bench.held
    assert held.volume_l == pytest.approx(19.0)
    assert held.gravity == pytest.approx(bench.view.progress.gravity)
    assert held.alcohol_pct == pytest.approx(bench.view.progress.alcohol_pct)
    assert (held.ph, held.temperature_c, held.original_gravity) == (3.5, 20.0, 1.098)
    assert held.total_so2_mg_l is held.sorbic_acid_mg_l is held.residual_sugar_g_l is None
    more = bench.start().more
    assert len(more["reading"]) == 4
    assert more["tolerance"] == ("14 to 18 %",)


ASKED = {
    "stable": {},
    "rack": {"vessel": "18.5 L", "top_up": "water"},
    "sulfite": {},
    "sorbate": {"molecular": "0.8"},
    "sweeten": {"to": "1.010", "stabilised": "pasteurised"},
    "acid": {"with": "malic", "acidity": "4.5 g/L", "to_acidity": "5.5 g/L"},
    "tannin": {},
    "fruit": {"with": "raspberry", "amount": "2 kg"},
    "spice": {"with": "vanilla", "dose": "1 g/L"},
    "carbonate": {"co2_volumes": "2.5", "fermentable": "1 g/L", "profile": "home"},
    "bottle": {"size": "750 mL"},
}


@pytest.mark.parametrize("step", ASKED)
def test_each_step_from_a_batch_is_the_same_with_its_numbers_typed(bench, step):
    result, fields = bench.ask(step, **ASKED[step])
    typed = {k: v for k, v in fields.given.items() if v}
    assert fields.own.items() <= {**typed, **ASKED[step]}.items() | fields.own.items()
    by_hand = run_step(step, typed, date(2031, 6, 1))
    assert step_data(by_hand) == step_data(result)
    if step not in ("stable", "spice", "tannin"):
        assert fields.own["volume"] == "19 L"
    assert why_not(result, fields) == ""


def over(bench) -> list:
    return [f for f in bench.view.findings if f.rule == "over_limit"]


def test_more_used_than_the_law_allows_is_a_finding_until_it_is_less(bench):
    assert over(bench) == []
    entry = bench.do("sulfite", {"grams.1": "2.84 g"}, total="310 mg/L")  # the US allows 350
    (found,) = over(bench)
    assert "396 mg/L" in found.evidence
    assert "allows 350" in found.evidence
    assert "CFR422 4.22 (b)(1)" in found.thresholds[0]
    assert "Do not sell or serve" in found.do
    assert bench.view.step.kind == "check"
    assert bench.view.step.sentence.startswith("More total sulfur dioxide than the law allows")
    log.write(bench.cellar.ledger, bench.slug, Removal(entry.id), at=bench.cellar.now)
    assert over(bench) == []


def test_two_allowed_doses_may_pass_a_limit_together(bench):
    bench.do("sulfite", {"grams.1": "2 g"}, total="250 mg/L")
    assert over(bench) == []
    bench.do("sulfite", {"grams.1": "2 g"})
    (found,) = over(bench)
    assert "371 mg/L" in found.evidence


def test_a_finding_stays_on_a_bottled_batch_and_follows_dilution(bench):
    bench.do("tannin", {"grams.1": "16 g"})  # 0.84 g/L; the US leaves 0.8
    assert "0.84 g/L of tannin added" in over(bench)[0].evidence
    bench.do("rack", {"came_over": "18 L"})
    assert "0.84 g/L" in over(bench)[0].evidence
    lots = ["batch=lane", "name=plain, volume=5 L, alcohol=13 %, gravity=0.995"]
    bench.do("blend", {"litres.1": "18 L", "litres.2": "2 L"}, lot=lots,
             target=["alcohol=14 %"], volume="20 L")  # fmt: skip
    assert over(bench) == []
    bench.do("tannin", {"grams.1": "4 g"})
    bench.do("bottle", size="750 mL", stabilised="pasteurised")
    assert bench.view.progress.phase == "closed"
    assert len(over(bench)) == 1


def test_typed_values_override_and_are_told_apart(bench):
    entry = bench.do("sulfite", ph="3.6", total="20 mg/L")
    assert entry.what.measured == {"ph": 3.6, "total_so2_mg_l": 20.0}
    assert "typed for it: pH 3.6, total sulfur dioxide 20 mg/L" in step_words(entry.what)
    assert bench.held.ph == 3.6
    assert bench.held.total_so2_mg_l == pytest.approx(
        20 + 1000 * entry.what.added[0].brings_g["total_so2"] / 19
    )
    same = bench.do("sorbate", ph="3.6")
    assert same.what.measured == {}  # typed as the batch has it


def test_the_watch_the_next_step_and_the_bench_judge_alike(bench):
    result, _ = bench.ask("stable")
    judged = settled(bench.view.progress, bench.view.events, UTC)
    assert judged is not None
    assert step_data(result)["verdict"] == judged.found.verdict == "settled, not safe"
    assert result.chance_moving.value == pytest.approx(judged.found.chance_moving.value)
    assert result.next_check == judged.next_check.date().isoformat()
    assert judge_stability(judged.ask) == judged.found
    assert [f.rule for f in bench.view.findings] == ["settled"]
    bench.do("stable", residual_sugar="1.2 g/L")
    assert bench.ask("stable")[0].verdict == "dry and settled"
    assert [f.rule for f in bench.view.findings] == ["finished"]


def stood(*readings):
    """A dry batch with these gravities, by days after the pitch."""
    log = Log(plan())
    for days, gravity in readings:
        log.read(24 * days, gravity, temperature_c=21)
    return log.at(24 * readings[-1][0]), log.stands()


def test_two_weeks_at_one_gravity_prove_it_whatever_the_end_of_the_fall_read():
    fall = ((2, 1.060), (5, 1.010), (7, 0.9985))
    still = ((10, 0.9965), (14, 0.9965), (17, 0.9965))
    judged = settled(*stood(*fall, *still))
    assert judged is not None
    assert not judged.is_settled  # a week
    judged = settled(*stood(*fall, *still, (24, 0.9965)))
    assert judged is not None
    assert judged.is_settled
    assert judged.found.days_watched.value == 14
    two = settled(*stood(*fall, (10, 0.9965), (24, 0.9965)))
    assert two is not None
    assert not two.is_settled  # two readings are too few to leave the one before out


def test_a_fall_that_goes_on_is_not_proven_by_its_last_two_weeks():
    slow = tuple((10 + 7 * k, 1.0000 - 0.0007 * k) for k in range(6))
    judged = settled(*stood((2, 1.060), (5, 1.010), *slow))
    assert judged is not None
    assert not judged.is_settled


# Writing it down --------------------------------------------------------------------------------


def test_a_journey_ends_where_the_bench_would(bench):
    """Log and bench keep the same books: the fold is `then`, step after step."""
    mead = bench.start().mead
    for step, typed in (
        ("rack", {"vessel": "18.5 L", "top_up": "water"}),
        ("sulfite", {"ph": "3.5"}),
        ("sorbate", {}),
        ("sweeten", {"to": "1.010"}),
    ):
        result, fields = bench.ask(step, **typed)
        if "ph" in typed:
            mead = replace(mead, ph=3.5)
        used = {}
        if step == "sweeten":  # the bench goes by the kilograms, the log by what the scale showed
            used = {"grams.1": f"{1000 * result.kg.value!r} g"}
        record_step(bench.cellar.ledger, result, fields, used, at=bench.cellar.now)
        mead = then(mead, result)
        bench.cellar.pass_hours(1)
        now = bench.start().mead
        for name in ("volume_l", "gravity", "alcohol_pct", "total_so2_mg_l", "sorbic_acid_mg_l",
                     "potassium_mg_l", "residual_sugar_g_l", "molecular_so2_mg_l"):  # fmt: skip
            ours, theirs = getattr(now, name), getattr(mead, name)
            assert (ours is None) == (theirs is None), (step, name)
            if ours is not None:
                assert ours == pytest.approx(theirs, rel=1e-3), (step, name)
        assert now.stabilised == mead.stabilised


def test_what_was_used_may_differ_and_counts_as_used(bench):
    whole = bench.do("sulfite").what
    half = bench.do("sulfite", used={"grams.1": "0.4"}, free="0 mg/L").what
    assert half.added[0].grams == pytest.approx(0.4)
    assert half.added[0].brings_g["total_so2"] == pytest.approx(0.4 * 0.5763, rel=1e-3)
    gained = 1000 * (whole.added[0].brings_g["total_so2"] + 0.4 * 0.5763) / 19
    assert bench.held.total_so2_mg_l == pytest.approx(gained, rel=1e-3)
    assert bench.held.molecular_so2_mg_l < 0.8
    bench.do("rack", used={"came_over": "17.5 L"})
    assert bench.held.volume_l == pytest.approx(17.5)
    assert bench.held.total_so2_mg_l == pytest.approx(gained, rel=1e-3)  # losses thin nothing


@pytest.mark.parametrize("text", ["a lot", "-1 g", "40 g", "3 L"])
def test_an_amount_that_cannot_be_is_refused_and_nothing_written(bench, text):
    before = bench.cellar.ledger.batch(bench.slug).version
    with pytest.raises(InputError) as refused:
        bench.do("sulfite", used={"grams.1": text})
    assert refused.value.field == "grams.1"
    with pytest.raises(InputError):
        bench.do("sulfite", used={"litres.1": "1 L"})
    assert bench.cellar.ledger.batch(bench.slug).version == before


def test_what_really_happened_is_asked_about_once_and_written_however_large(bench):
    with pytest.raises(UnlikelyError, match="needs a second look") as asked:
        bench.do("sulfite", used={"grams.1": "200 g"})
    assert asked.value.field == "grams.1"
    entry = bench.do("sulfite", used={"grams.1": "200 g"}, sure=True)
    assert entry.what.added[0].grams == 200
    assert bench.held.total_so2_mg_l > 5000
    assert over(bench)  # written as it happened, and named
    rack = {"came_over": "18 L", "top_up": "9 L"}
    with pytest.raises(UnlikelyError):
        bench.do("rack", used=rack, vessel="18.5 L", top_up="water")
    bench.do("rack", used=rack, sure=True, vessel="18.5 L", top_up="water")
    assert bench.held.volume_l == pytest.approx(27, abs=0.2)
    with pytest.raises(UnlikelyError):
        bench.do("tannin", used={"grams.1": "500 g"})


def test_nothing_is_written_when_the_step_is_refused(bench):
    before = bench.cellar.ledger.batch(bench.slug).version
    with pytest.raises(ImpossibleError):
        bench.do("sweeten", to="1.010", stabilised="no")
    result, fields = bench.ask("sweeten", to="1.010")
    assert "protected before" in why_not(result, fields)
    with pytest.raises(ImpossibleError, match="protected before"):
        bench.do("sweeten", to="1.010")
    assert bench.cellar.ledger.batch(bench.slug).version == before


def test_bottling_in_the_minute_of_sweetening_is_refused_until_a_protection_is_stated(bench):
    bench.do("sweeten", to="1.010", stabilised="sulfite+sorbate")
    result, fields = bench.ask("bottle", size="750 mL")
    assert "needs a steady gravity" in why_not(result, fields)
    before = bench.cellar.ledger.batch(bench.slug).version
    with pytest.raises(ImpossibleError, match="needs a steady gravity") as refused:
        bench.do("bottle", size="750 mL")
    assert refused.value.field == "stabilised"
    assert bench.cellar.ledger.batch(bench.slug).version == before
    assert bench.view.progress.phase == "finishing"
    entry = bench.do("bottle", size="750 mL", stabilised="pasteurised")
    assert entry.what.words["stabilised"] == "pasteurised"
    assert "yeast stopped by: pasteurised" in step_words(entry.what)
    assert bench.view.progress.phase == "closed"


def test_the_sparkling_bottle_of_the_priming_is_the_bottle_of_the_filling(bench):
    bench.do("carbonate", **{**ASKED["carbonate"], "bottle": "sparkling"})
    assert bench.start().more["container"] == ("sparkling",)
    with pytest.raises(ImpossibleError, match=r"holds 0.15 bar .* and this reaches up to"):
        bench.do("bottle", size="750 mL", bottle="wine", sparkling=True)
    bench.do("bottle", size="750 mL", sparkling=True)


def test_undo_and_delete_take_it_out_again_and_restore_brings_it_back(bench):
    ledger = bench.cellar.ledger
    first = bench.do("sulfite")
    once = bench.held.total_so2_mg_l
    bench.do("sulfite", free="0 mg/L")
    assert bench.held.total_so2_mg_l == pytest.approx(2 * once, rel=0.01)
    log.remove(ledger, bench.slug, first.id, now=bench.cellar.now)
    assert bench.held.total_so2_mg_l == pytest.approx(once, rel=0.01)
    assert bench.held.potassium_mg_l == pytest.approx(once * 0.61, rel=0.01)
    log.restore(ledger, bench.slug, first.id, now=bench.cellar.now)
    assert bench.held.total_so2_mg_l == pytest.approx(2 * once, rel=0.01)
    for _ in range(3):  # the restoration, the deletion, the second dose
        log.undo(ledger, bench.slug, now=bench.cellar.now)
    assert bench.held.total_so2_mg_l == pytest.approx(once, rel=0.01)


def test_limits_count_what_was_added_before(bench):
    """The second dose meets the law with the first in it; so does sorbate."""
    bench.do("sulfite", molecular="2", ph="3.9", profile="eu")  # about 180 mg/L
    assert bench.held.total_so2_mg_l > 140
    with pytest.raises(ImpossibleError):
        bench.ask("sulfite", molecular="2", profile="eu")
    bench.do("sorbate", alcohol="8 %", profile="eu", molecular="0.8")
    first = bench.held.sorbic_acid_mg_l
    second, _ = bench.ask("sorbate", alcohol="8 %", profile="eu", molecular="0.8")
    assert second.sorbic_acid_mg_l.value <= 200 + 1e-6
    assert first > 0
    assert second.sorbic_acid_mg_l.value == pytest.approx(max(first, 196.4), rel=0.02)


def test_more_than_the_law_allows_is_written_and_said(bench):
    entry = bench.do("sulfite", molecular="2", ph="3.9", profile="eu", used={"grams.1": "9 g"})
    assert "allows 200" in step_words(entry.what)


def test_the_next_step_names_what_is_due(bench):
    due = lambda: bench.view.step  # noqa: E731
    assert (due().finish, due().kind, due().is_due) == ("rack", "finish", True)
    bench.do("rack")
    assert due().finish == "sulfite"
    bench.do("sulfite")
    assert due().finish == "stable"  # no sugar test, and nothing stops the yeast
    bench.do("sorbate")
    assert due().finish == ""
    bench.do("sweeten", to="1.010")
    assert bench.view.progress.phase == "finishing"
    assert (due().finish, due().is_due) == ("stable", True)
    bench.read(gravity=1.0102)
    assert not due().is_due
    bench.cellar.pass_hours(24 * 7)
    bench.read(gravity=1.0102)
    assert due().finish == "bottle"
    bench.do("bottle", size="750 mL")
    assert bench.view.progress.phase == "closed"
    assert bench.view.findings == ()


def test_a_sweetened_mead_that_wakes_is_told(bench):
    bench.do("sulfite")
    bench.do("sorbate")
    bench.do("sweeten", to="1.010")
    sweet = bench.held.alcohol_pct
    for gravity in (1.0102, 1.0080, 1.0055):
        bench.read(gravity=gravity, temperature_c=20.0)
        bench.cellar.pass_hours(24 * 4)
    assert [f.rule for f in bench.view.findings] == ["woken"]
    assert bench.view.step.kind == "check"
    assert bench.held.alcohol_pct > sweet + 0.4
    assert bench.held.residual_sugar_g_l < 42


def test_protection_is_needed_anew_where_sulfite_is_taken_back(bench):
    dose = bench.do("sulfite")
    bench.do("sorbate")
    assert bench.held.stabilised == "sulfite+sorbate"
    log.remove(bench.cellar.ledger, bench.slug, dose.id, now=bench.cellar.now)
    assert bench.held.stabilised == ""
    assert not bench.ask("sweeten", to="1.010")[0].ready


def test_ph_is_forgotten_when_acid_goes_in_until_it_is_read(bench):
    bench.do("acid", **ASKED["acid"])
    assert bench.held.ph != 3.5  # worked out from the dose: a first guess
    bench.do("fruit", **ASKED["fruit"])
    assert bench.held.ph is None
    bench.read(ph=3.42, gravity=1.0)
    assert bench.held.ph == 3.42


def test_plain_events_change_the_volume_and_leave_doubts(bench):
    log.write(bench.cellar.ledger, bench.slug, Event("racked", litres=18.0), at=bench.cellar.now)
    bench.cellar.pass_hours(1)
    log.write(bench.cellar.ledger, bench.slug, Event("sampled", litres=0.25), at=bench.cellar.now)
    bench.cellar.pass_hours(1)
    assert bench.held.volume_l == pytest.approx(17.75)
    assert bench.ask("sulfite")[1].given["volume"] == "17.75 L"
    log.write(bench.cellar.ledger, bench.slug, Event("sulfited"), at=bench.cellar.now)
    bench.cellar.pass_hours(1)
    assert bench.held.total_so2_mg_l is None
    assert "without an amount" in bench.start().doubts()[0]


def test_potassium_of_feeds_and_calcium_of_chalk_count(bench):
    bench.do("acid", **{"with": "calcium_carbonate", "acidity": "6 g/L", "to_acidity": "5 g/L"})
    grams = bench.view.events[-1].what.added[0].grams
    assert bench.held.calcium_mg_l == pytest.approx(1000 * grams * 0.4004 / 19, rel=1e-3)
    assert bench.held.acidity_g_l == pytest.approx(5.0, rel=0.01)


# Blend ------------------------------------------------------------------------------------------


def test_a_blend_draws_from_several_batches(bench):
    other = dry_batch(bench.cellar, "Second")
    ledger = bench.cellar.ledger
    entry = bench.do(
        "blend",
        lot=["batch=lane", f"batch={other}, volume=10 L", "name=bought, volume=5 L, alcohol=8 %, "
             "gravity=1.01, so2=60 mg/L"],
        target=["alcohol=13.5 %"],
        used={"litres.1": "16 L", "litres.2": "4 L", "litres.3": "3 L"},
    )  # fmt: skip
    done = entry.what
    assert done.lost_l == pytest.approx(3.0)
    assert [one.litres for one in done.added] == [4.0, 3.0]
    held = bench.held
    assert held.volume_l == pytest.approx(23.0, abs=0.05)
    assert held.total_so2_mg_l == pytest.approx(60 * 3 / held.volume_l, rel=1e-3)
    alcohol = (16 * 14.56 + 4 * 14.56 + 3 * 8) / 23
    assert held.alcohol_pct == pytest.approx(alcohol, abs=0.05)
    drawn = start_from(look(ledger, other, bench.cellar.now, UTC), UTC).held
    assert drawn.volume_l == pytest.approx(15.0)
    assert "into Lane" in step_words(ledger.log(other)[-1].what)
    assert bench.view.progress.phase == "finishing"


def blended(bench, used=None):
    other = dry_batch(bench.cellar, "Second")
    entry = bench.do(
        "blend", lot=["batch=lane", f"batch={other}, volume=10 L"], target=["alcohol=14 %"],
        used=used or {"litres.1": "19 L", "litres.2": "4 L"},
    )  # fmt: skip
    return other, entry


def volumes(bench, other) -> tuple[float, float]:
    return tuple(round(bench.start(slug).held.volume_l, 1) for slug in (bench.slug, other))


@pytest.mark.parametrize("end", ["blend", "drawn"])
def test_a_blend_is_taken_back_at_both_ends_and_comes_back_at_both(bench, end):
    """Whichever line is taken back: the litres are in one batch or in the other, never in both."""
    ledger, now = bench.cellar.ledger, bench.cellar.now
    other, entry = blended(bench)
    assert volumes(bench, other) == (23.0, 15.0)
    slug = bench.slug if end == "blend" else other
    line = ledger.log(slug)[-1].id
    log.remove(ledger, slug, line, now=bench.cellar.now)
    assert volumes(bench, other) == (19.0, 19.0)
    log.restore(ledger, slug, line, now=bench.cellar.now)
    assert volumes(bench, other) == (23.0, 15.0)
    log.undo(ledger, slug, now=bench.cellar.now)  # the bringing back
    assert volumes(bench, other) == (19.0, 19.0)
    log.undo(ledger, slug, now=bench.cellar.now)  # the taking out
    assert volumes(bench, other) == (23.0, 15.0)
    log.undo(ledger, slug, now=bench.cellar.now)  # the blend
    assert volumes(bench, other) == (19.0, 19.0)
    assert entry.at <= now


def test_a_blend_with_a_batch_that_was_put_away_is_not_taken_back_at_one_end(bench):
    ledger = bench.cellar.ledger
    other, entry = blended(bench)
    ledger.delete_batch(other, ledger.batch(other).version)
    before = ledger.log(bench.slug)
    with pytest.raises(InputError, match="deleted"):
        log.remove(ledger, bench.slug, entry.id, now=bench.cellar.now)
    assert ledger.log(bench.slug) == before


def test_one_end_of_a_blend_cannot_be_corrected_to_other_litres(bench):
    ledger = bench.cellar.ledger
    other, _ = blended(bench)
    drawn = ledger.log(other)[-1]
    with pytest.raises(InputError, match="same amounts"):
        log.correct(ledger, other, drawn.id, replace(drawn.what, lost_l=0.5), now=bench.cellar.now)
    log.correct(ledger, other, drawn.id, replace(drawn.what, note="by pump"), now=bench.cellar.now)
    assert volumes(bench, other) == (23.0, 15.0)


@pytest.mark.parametrize("write", [1, 2, 3, 4, 5])
def test_a_blend_is_written_into_both_batches_or_into_none(bench, write):
    from faults import disk_of
    from mustwright.services.repository import UnwritableError

    store = bench.cellar.compose.cellar
    other = dry_batch(bench.cellar, "Second")
    before = [bench.cellar.ledger.log(slug) for slug in (bench.slug, other)]
    with disk_of(store._engine) as disk:
        disk.fails_at = write
        with pytest.raises(UnwritableError):
            bench.do(
                "blend", lot=["batch=lane", f"batch={other}, volume=10 L"],
                target=["alcohol=14 %"], used={"litres.1": "19 L", "litres.2": "4 L"},
            )  # fmt: skip
    assert [bench.cellar.ledger.log(slug) for slug in (bench.slug, other)] == before


def test_what_a_blend_leaves_over_is_still_said_of_its_batch(bench):
    blended(bench, {"litres.1": "16 L", "litres.2": "4 L"})
    assert any("3.00 L" in doubt and "left over" in doubt for doubt in bench.start().doubts())
    assert "3.00 L not in the blend" in step_words(bench.cellar.ledger.log(bench.slug)[-1].what)


def test_a_blend_without_this_batch_or_with_one_twice_is_refused(bench):
    lots = ["name=a, volume=5 L, alcohol=8 %, gravity=1.01",
            "name=b, volume=5 L, alcohol=12 %, gravity=1.00"]  # fmt: skip
    result, fields = bench.ask("blend", lot=lots, target=["alcohol=10 %"])
    assert "needs this batch among the parts" in why_not(result, fields)
    with pytest.raises(InputError, match="each batch once"):
        bench.ask("blend", lot=["batch=lane", "batch=lane"], target=["alcohol=10 %"])


# The last steps ---------------------------------------------------------------------------------


def test_priming_makes_alcohol_and_gas_and_bottles_close(bench):
    before = bench.held.alcohol_pct
    bench.do("carbonate", **ASKED["carbonate"])
    assert bench.held.alcohol_pct > before + 0.2
    assert bench.held.co2_g_l == pytest.approx(2.5 * 1.9768, rel=1e-3)
    entry = bench.do(
        "bottle", size=["750 mL x 20", "375 mL"], sparkling=True, used={"bottles.1": "18"},
        bottle="sparkling",
    )  # fmt: skip
    assert entry.what.words["lot"].startswith("L31152-LANE")
    assert "18 of 750 mL" in entry.what.words["bottles"]
    assert bench.view.step.kind == "none"
    with pytest.raises(InputError):
        bench.do("bottle", size="750 mL", used={"bottles.1": "100"})


# Keeping it -------------------------------------------------------------------------------------


def journey(bench) -> None:
    bench.do("stable", residual_sugar="1.2 g/L")
    bench.do("rack", vessel="18.5 L", top_up="water")
    bench.do("sulfite", ph="3.5")
    bench.do("sorbate")
    bench.do("sweeten", to="1.010")


def test_json_and_csv_bring_every_step_back(bench, tmp_path):
    journey(bench)
    ledger, now = bench.cellar.ledger, bench.cellar.now
    held = bench.held
    with store_of("sqlite", tmp_path, lambda: now) as elsewhere:
        copy = import_json(elsewhere.ledger, export_json(ledger, bench.slug)).slug
        assert start_from(look(elsewhere.ledger, copy, now, UTC), UTC).held == held
        assert elsewhere.ledger.log(copy) == ledger.log(bench.slug)
    table = export_csv(bench.view.stands)
    bare = bench.cellar.start("Bare", None, plan=bench.view.progress.plan).slug
    found = preview_csv(ledger, bare, table, now=now, zone=UTC)
    assert found.problems == ()
    import_csv(ledger, bare, found)
    assert start_from(look(ledger, bare, now, UTC), UTC).held == held
    assert preview_csv(ledger, bare, table, now=now, zone=UTC).new == ()
    spoilt = table.replace('""step"": ""sulfite""', '""step"": ""stir""')
    assert (
        "step"
        in preview_csv(ledger, bench.cellar.start("Other", None).slug, spoilt, now=now, zone=UTC)
        .problems[0]
        .message
    )


def test_every_kind_of_step_is_read_back_as_it_was_kept(bench):
    for step, typed in ASKED.items():
        used = {"grams.1": "2 g"} if step == "tannin" else {}
        if step == "sulfite":
            typed = {"ph": "3.5"}
        if step == "carbonate":  # it was pasteurised on the way
            typed = {"co2_volumes": "1.9", "keg": "4 C", "limit": "9 bar"}
        if step == "bottle":  # the same minute, and sparkling: both are stated
            typed = {**typed, "stabilised": "pasteurised", "bottle": "sparkling"}
        made = bench.do(step, used, **typed).what
        assert what_from("finish", what_data(made)) == made
        assert step_words(made)


@pytest.mark.parametrize(
    ("bad", "field"),
    [
        ({"step": "stir"}, "step"),
        ({"step": "rack", "lost_l": -1.0}, "lost_l"),
        ({"step": "rack", "measured": {"taste": 1.0}}, "measured"),
        ({"step": "rack", "measured": {"ph": 1e9}}, "measured.ph"),
        ({"step": "rack", "note": "x" * 5000}, "note"),
        ({"step": "rack", "asked": {str(i): "x" for i in range(99)}}, "asked"),
        ({"step": "sulfite", "added": [{"substance": "x", "name": "x", "grams": -1.0}]}, "grams"),
    ],
)  # fmt: skip
def test_a_step_that_cannot_be_is_refused_by_field(bad, field):
    with pytest.raises(InputError) as refused:
        what_from("finish", bad)
    assert refused.value.field.endswith(field)


def test_a_correction_changes_amounts_in_proportion_and_keeps_history(bench):
    entry = bench.do("sulfite")
    changed = retyped(entry.what, {"used.1": "0.5 g", "note": "half"})
    assert changed.added[0].brings_g["total_so2"] == pytest.approx(
        entry.what.added[0].brings_g["total_so2"] * 0.5 / entry.what.added[0].grams
    )
    ledger = bench.cellar.ledger
    log.correct(ledger, bench.slug, entry.id, changed, now=bench.cellar.now)
    assert bench.held.total_so2_mg_l == pytest.approx(1000 * 0.5 * 0.5763 / 19, rel=1e-3)
    log.undo(ledger, bench.slug, now=bench.cellar.now)
    assert bench.held.total_so2_mg_l > 20
    for field, text in (("used.1", "-1 g"), ("used.2", "1 g"), ("lost", "1 L"), ("used.1", "x")):
        with pytest.raises(InputError):
            retyped(entry.what, {field: text})


def test_what_does_not_fit_leaves_a_doubt_and_no_crash(bench):
    """A log may say anything once it is corrected; the bench goes on with what it can."""
    odd = StepDone("rack", (Added("x", "x", 1.0, litres=1.0),), lost_l=500.0)
    log.write(bench.cellar.ledger, bench.slug, odd, at=bench.cellar.now)
    bench.cellar.pass_hours(1)
    assert bench.held.volume_l == 0
    state = bench.view.progress
    assert vessel(state, ()).volume_l == 19.0
    assert Removal(odd.kind).target  # a step is removed like any entry
