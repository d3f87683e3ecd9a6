"""Bottles are not closed over sugar that live yeast could eat, nor sparkling in thin glass."""

from __future__ import annotations

from dataclasses import replace

import pytest

from batches import STRONG, Log, plan
from mustwright.batch.finishing_record import Added, StepDone
from mustwright.batch.too_soon import BottledAs, bottling_facts, too_soon
from mustwright.errors import ImpossibleError

OF = plan(STRONG.replace("1.120", "1.098"))
DRY_H = 24 * 60


def dry_log() -> Log:
    log, dry = Log(OF), OF.must.dry_gravity
    for day, gravity in ((1, 1.096), (10, 1.040), (20, 1.005), (31, dry), (38, dry), (45, dry),
                         (52, dry)):  # fmt: skip
        log.read(24 * day, round(gravity, 4), temperature_c=20.0, ph=3.5)
    return log


def sweetened(log: Log, hours: float, sugar_g: float = 44 * 19, by: str = "") -> None:
    words = {"stabilised": by} if by else {}
    honey = Added("honey", "Honey", sugar_g / 0.8, {"sugar": sugar_g})
    log.add(hours, StepDone("sweeten", (honey,), words=words, protected=True))


def why(log: Log, hours: float = DRY_H, **said):
    return too_soon(bottling_facts(log.at(hours), log.stands()), BottledAs(**said))


def test_a_mead_seen_to_stand_dry_is_bottled():
    assert why(dry_log()) is None
    assert why(dry_log(), step="carbonate") is None


def test_sweetened_in_the_same_minute_is_refused_and_says_why():
    log = dry_log()
    sweetened(log, DRY_H - 1)
    error = why(log)
    assert isinstance(error, ImpossibleError)
    assert error.field == "stabilised"
    assert "44 g/L of fermentable sugar" in error.requirement
    assert "recorded in the log" in error.requirement


def test_a_protection_in_the_log_still_leaves_gravity_to_be_seen_to_stand():
    log = dry_log()
    sweetened(log, DRY_H - 1, by="sulfite+sorbate")
    assert "needs a steady gravity since 2031-06-30" in why(log).requirement
    assert why(log, protected_by="sulfite+sorbate") is None
    now = log.at(DRY_H).gravity
    log.read(DRY_H + 1, now)
    log.read(DRY_H + 24 * 15, now)
    assert why(log, DRY_H + 24 * 15 + 1) is None


@pytest.mark.parametrize(
    ("by", "lifted"), [("pasteurised", True), ("sterile-filtered", True), ("sulfite+sorbate", True),
                       ("no", False), ("", False), ("alcohol", False)],
)  # fmt: skip
def test_the_protection_stated_lifts_it_where_it_can(by, lifted):
    log = dry_log()
    sweetened(log, DRY_H - 1)
    assert (why(log, protected_by=by) is None) is lifted


def test_sulfite_and_sorbate_do_not_stop_a_ferment_under_way():
    log = Log(OF)
    for day, gravity in ((1, 1.096), (4, 1.060), (7, 1.030), (9, 1.012)):
        log.read(24 * day, gravity, temperature_c=20.0)
    assert "do not stop" in why(log, 24 * 9 + 1, protected_by="sulfite+sorbate").requirement
    assert why(log, 24 * 9 + 1, protected_by="sterile-filtered") is None


def test_a_ferment_without_readings_is_not_bottled():
    assert "gravity" in why(Log(OF), 24).requirement


def test_sugar_left_by_the_balance_counts_however_long_it_stood():
    log = Log(OF)
    for day in (30, 45, 60):
        log.read(24 * day, 1.020, temperature_c=20.0)
    error = why(log, 24 * 60 + 1)
    assert "left at least, worked out from the gravities" in error.requirement
    assert why(log, 24 * 60 + 1, sugar_g_l=1.0) is None  # a test says otherwise


def test_alcohol_protects_where_the_log_shows_that_it_does():
    log = Log(OF)
    for day in (30, 45, 60):
        log.read(24 * day, 1.010, temperature_c=20.0)
    facts = bottling_facts(log.at(24 * 61), log.stands())
    said = BottledAs(protected_by="alcohol")
    assert "highest alcohol this yeast reaches" in too_soon(facts, said).requirement
    weak = replace(facts, tolerance_high_pct=facts.held.alcohol_pct - 0.1)
    assert too_soon(weak, said) is None


def test_sparkling_in_glass_not_made_for_it_is_refused():
    log = dry_log()
    log.add(DRY_H - 1, StepDone("carbonate", after={"co2_g_l": 5.0}))
    error = why(log)
    assert error.field == "bottle"
    assert "still wine bottle" in error.requirement
    assert why(log, container="sparkling") is None
    assert why(log, container="wine") is not None
    assert why(log, limit_bar=7.0) is None
    assert why(log, co2_g_l=0.8) is None  # measured: still, whatever was meant


def test_sugar_measured_for_priming_counts_as_gas_and_needs_no_protection():
    log = dry_log()
    sweetened(log, DRY_H - 1, sugar_g=8 * 19)
    assert why(log, step="carbonate") is not None
    assert why(log, step="carbonate", sugar_g_l=8.0) is None
    assert why(log, step="sorbate") is None
