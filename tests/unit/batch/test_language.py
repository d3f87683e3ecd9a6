"""Days, log, vessel, calendar and paper of a batch, in German; what is kept stays English."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest
from icalendar import Calendar

from batches import PITCHED, Log, plan
from databases import store_of
from mustwright.batch import log_text
from mustwright.batch.calendar import calendar_text
from mustwright.batch.clock import between, clock, day_words
from mustwright.batch.entries import Event, FeedGiven, Given, Reading, what_data
from mustwright.batch.entry_fields import moment_typed
from mustwright.batch.finishing_record import Added, StepDone
from mustwright.batch.paper import paper_of
from mustwright.batch.record_sheet import record_of
from mustwright.batch.vessel import vessel
from mustwright.languages import language_called, speaking
from mustwright.services.batch import record
from mustwright.services.batch.batch_view import look
from mustwright.texts import said

GERMAN = language_called("de")
NOW = datetime(2031, 5, 1, 8, tzinfo=UTC)
DONE = StepDone(
    "sweeten",
    (Added("k", "potassium metabisulfite", 0.74, {"total_so2": 0.43}),),
    lost_l=0.5,
    words={"stabilised": "sulfite+sorbate", "verdict": "moving", "next check": "2031-08-01"},
    measured={"total_so2_mg_l": 35.5},
    note="my own note",
)
SAID = {
    "reading": (
        Reading(gravity=1.0, temperature_c=18.5, ph=3.4, ph_by="strip", note="clear"),
        "Gemessen: ", " °C, pH 3,4 mit Teststreifen, clear",
    ),
    "refractometer": (
        Reading(brix=20.1, instrument="refractometer"), "Gemessen: 20,1 Brix mit Refraktometer", "",
    ),
    "feed": (
        FeedGiven((Given("x", 4.5, "my nutrient"),), "f1"), "Gabe: 4,5 g my nutrient", "",
    ),
    "event": (Event("moved", note="to the cellar"),
              "In eine andere Temperatur gestellt: to the cellar", ""),
    "step": (
        DONE, "Nachgesüßt: 0,74 g Kaliummetabisulfit (0,43 g SO2); ",
        "; Hefe gestoppt durch: Sulfit und Sorbat; gärt noch, wieder prüfen: 1. August 2031; "
        "dafür angegeben: Gesamtes SO2 35,5 mg/L; my own note",
    ),
}  # fmt: skip


def german(text: str) -> str:
    return said(text, GERMAN)


@pytest.mark.parametrize(
    ("hours", "says"),
    [(10, "heute gegen 18:00 Uhr"), (24, "morgen gegen 08:00 Uhr"),
     (-20, "gestern gegen 12:00 Uhr"), (47, "Samstag, 3. Mai gegen 07:00 Uhr")],
)  # fmt: skip
def test_a_moment_in_german(hours, says):
    assert german(clock(NOW + timedelta(hours=hours), NOW, UTC)) == says


def test_a_range_of_moments_says_a_common_day_once():
    start = NOW + timedelta(hours=47)
    same, other = (between(start, start + timedelta(hours=h), NOW, UTC) for h in (3, 24))
    assert same == " (between Saturday 3 May 07:00 and 10:00)"
    assert german(same) == " (zwischen Samstag, 3. Mai 07:00 und 10:00 Uhr)"
    assert other == " (between Saturday 3 May 07:00 and Sunday 4 May 07:00)"
    assert german(other) == " (zwischen Samstag, 3. Mai 07:00 und Sonntag, 4. Mai 07:00 Uhr)"
    assert german(day_words(NOW, NOW, UTC)) == "heute"


def test_a_range_without_an_end_has_a_beginning_and_far_days_their_year():
    start = NOW + timedelta(hours=47)
    assert between(start, None, NOW, UTC) == " (from Saturday 3 May 07:00 on)"
    assert german(between(start, None, NOW, UTC)) == " (ab Samstag, 3. Mai 07:00 Uhr)"
    assert between(NOW - timedelta(hours=1), None, NOW, UTC) == ""
    far = NOW + timedelta(days=400)
    assert day_words(far, NOW, UTC) == f"{far.day} {far:%B %Y}"
    assert german(day_words(far, NOW, UTC)).endswith(str(far.year))


def test_moments_of_the_log_in_german():
    assert german(log_text.moment(NOW, UTC, NOW)) == "Do. 1. Mai 08:00"
    assert german(log_text.moment(NOW, UTC, NOW + timedelta(days=300))) == "Do. 1. Mai 2031 08:00"


@pytest.mark.parametrize("name", SAID)
def test_a_line_of_the_log_in_german(name):
    what, begins, ends = SAID[name]
    line = german(log_text.said(what, plan()))
    assert line.startswith(begins)
    assert line.endswith(ends)


def test_what_is_kept_stays_english_whoever_reads():
    with speaking(GERMAN):
        kept = json.dumps(what_data(DONE))
    assert "sulfite+sorbate" in kept
    assert "potassium metabisulfite" in kept


def test_where_the_facts_of_a_vessel_come_from_in_german():
    log = Log()
    log.read(24, 1.100)
    log.add(30, Event("sampled", litres=0.25))
    log.add(31, Event("sulfited"))
    held = vessel(log.at(48), log.stands())
    assert german(held.how["gravity"]) == "letzte Messung"
    assert german(held.how["volume_l"]).endswith(" weniger (als Probe entnommen)")
    assert german(held.doubts[0]).startswith("Am 03.05.2031 kam Sulfit ohne Mengenangabe hinein")


@pytest.fixture
def view(tmp_path):
    clock = [PITCHED]
    with store_of("sqlite", tmp_path, lambda: clock[0]) as store:
        slug = record.start_batch(
            store.ledger, plan(), "Heather", now=PITCHED, pitched_at=PITCHED, sheet=""
        ).slug
        clock[0] = PITCHED + timedelta(hours=20)
        record.write(store.ledger, slug, Reading(gravity=1.118, ph=3.6), at=clock[0])
        yield look(store.ledger, slug, PITCHED + timedelta(hours=21), UTC)


def events(view) -> list[tuple[str, str, str]]:
    read = Calendar.from_ical(calendar_text([view], "all", UTC)).walk("VEVENT")
    return [(str(e["uid"]), str(e["status"]), str(e["summary"])) for e in read]


def test_the_calendar_speaks_the_language_and_keeps_its_keys(view):
    english = events(view)
    with speaking(GERMAN):
        in_german = events(view)
    assert [e[:2] for e in english] == [e[:2] for e in in_german]
    assert english
    assert all(summary.startswith("Heather: feed ") for _, _, summary in english)
    assert all(summary.endswith(" geben") for _, _, summary in in_german)


def test_the_sheet_and_the_record_on_paper_in_german(view):
    paper, sheet = paper_of(view, UTC), record_of(view, UTC)
    assert german(paper.printed) == "2. Mai 2031, 15:00 Uhr"
    assert ("Hefe zugegeben", "1. Mai 2031, 18:00 Uhr") in [
        (german(label), german(text)) for label, text in paper.facts
    ]
    assert german(paper.breaks[2][0]) == "33\N{NO-BREAK SPACE}% des Zuckers vergoren"
    assert [german(head) for head in paper.columns][-2:] == ["was gemacht wurde", "von"]
    assert (german(sheet.readings[0].day), german(sheet.readings[0].ph)) == ("0,8", "3,60")


def test_now_is_read_in_german_too():
    assert moment_typed("jetzt", NOW, UTC) == NOW == moment_typed("now", NOW, UTC)
