"""A batch from start to finish by its services: recording, files, calendar, pictures, access."""

from __future__ import annotations

import csv
import io
import json
import random
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta, timezone

import pytest
from icalendar import Calendar
from PIL import Image

from batches import PITCHED, STRONG, plan
from databases import store_of
from mustwright.batch.calendar import calendar_text
from mustwright.batch.entries import Entry, Event, FeedGiven, Note, PlanAdopted, Reading
from mustwright.batch.entry_fields import (
    event_typed,
    feed_typed,
    moment_typed,
    reading_typed,
    retyped,
)
from mustwright.batch.log import plan_in_force, plans, standing
from mustwright.batch.paper import paper_of
from mustwright.errors import ConflictError, InputError
from mustwright.services import access
from mustwright.services.batch import record
from mustwright.services.batch.batch_view import look
from mustwright.services.batch.export_json import export_json, import_json
from mustwright.services.batch.log_table import export_csv, import_csv, preview_csv
from mustwright.services.batch.photos import add_photo, prepared, prepared_once
from mustwright.services.batch.replan import adopt, fingerprint
from mustwright.services.batch.tokens import new_token, token_of
from mustwright.services.batch.worklist import due_today

EAST = timezone(timedelta(hours=2))


class Bench:
    """A store, a clock that is set by hand, and one batch."""

    def __init__(self, store) -> None:
        self.store, self.ledger = store, store.ledger
        self.now = PITCHED
        made = record.start_batch(
            self.ledger, plan(), "Heather", now=PITCHED, pitched_at=PITCHED, sheet="heather"
        )
        self.slug = made.slug

    def write(self, hours: float, what, id: str | None = None):
        self.now = PITCHED + timedelta(hours=hours)
        return record.write(self.ledger, self.slug, what, at=self.now, id=id)

    def look(self, hours: float | None = None):
        now = self.now if hours is None else PITCHED + timedelta(hours=hours)
        return look(self.ledger, self.slug, now, UTC)


@pytest.fixture
def bench(tmp_path):
    benches: list[Bench] = []
    with store_of("sqlite", tmp_path, lambda: benches[0].now if benches else PITCHED) as store:
        benches.append(Bench(store))
        yield benches[0]


@pytest.fixture
def elsewhere(tmp_path):
    """Another cellar, on another machine."""
    (tmp_path / "elsewhere").mkdir()
    later = PITCHED + timedelta(days=90)
    with store_of("sqlite", tmp_path / "elsewhere", lambda: later) as store:
        yield store.ledger


def test_the_next_step_is_one_sentence_with_everything_in_it(bench):
    bench.write(18, Reading(gravity=1.116, temperature_c=20))
    step = bench.look().step
    for part in ("Feed ", " g ", "now", "'Onset'", "mg N/L"):
        assert part in step.sentence
    bench.write(19, FeedGiven(feed_typed({"feed": "f1"}, plan()).items, "f1"))
    step = bench.look().step
    assert step.feed == "f2"
    assert step.earliest <= step.at <= step.latest
    assert "when gravity reaches 1.1" in step.sentence
    assert "gassy must" in step.caution or "full of gas" in step.caution
    assert step.sentence.count(". ") == 0


def test_undo_correct_remove_restore_leave_everything_in_the_log(bench):
    first = bench.write(18, Reading(gravity=1.116))
    wrong = retyped(first.what, {"gravity": "1.106"})
    record.correct(bench.ledger, bench.slug, first.id, wrong, now=bench.now)
    assert bench.look().progress.gravity == pytest.approx(1.106)
    record.undo(bench.ledger, bench.slug, now=bench.now)
    assert bench.look().progress.gravity == pytest.approx(1.116)
    record.remove(bench.ledger, bench.slug, first.id[:8], now=bench.now)
    assert bench.look().progress.gravity is None
    record.restore(bench.ledger, bench.slug, first.id, now=bench.now)
    assert bench.look().progress.gravity == pytest.approx(1.116)
    (change, *_) = next(s for s in bench.look().stands if s.entry.id == first.id).changes
    assert (change.what.before["gravity"], change.what.after["gravity"]) == (1.116, 1.106)
    assert len(bench.ledger.log(bench.slug)) == 7
    with pytest.raises(InputError):
        record.correct(bench.ledger, bench.slug, first.id, Note("no reading"), now=bench.now)


def test_replan_is_adopted_on_consent_and_the_earlier_plan_stays(bench):
    bench.write(72, Reading(gravity=1.085, temperature_c=20))
    view = bench.look()
    agreed = fingerprint(view.proposal)
    with pytest.raises(ConflictError):
        adopt(bench.ledger, bench.slug, now=bench.now, zone=UTC, agreed="0" * 16)
    entry = adopt(
        bench.ledger, bench.slug, now=bench.now, zone=UTC, agreed=agreed, seen=view.record.version
    )
    stands = standing(bench.ledger.log(bench.slug))
    assert plan_in_force(stands).number == 2
    assert [s.what.plan.number for s in plans(stands)] == [1, 2]
    assert entry.what.why == view.proposal.reasons
    with pytest.raises(ConflictError):
        adopt(bench.ledger, bench.slug, now=bench.now, zone=UTC, seen=view.record.version)
    record.undo(bench.ledger, bench.slug, now=bench.now)
    assert plan_in_force(standing(bench.ledger.log(bench.slug))).number == 1


def test_a_replan_that_fits_has_nothing_to_adopt(bench):
    with pytest.raises(InputError, match="no longer fits"):
        adopt(bench.ledger, bench.slug, now=PITCHED + timedelta(hours=1), zone=UTC)


def test_due_today_puts_the_worst_first(bench):
    for number in range(3):
        record.start_batch(bench.ledger, plan(), f"Calm {number}", now=PITCHED, pitched_at=PITCHED)
    for hours, gravity in ((20, 1.115), (96, 1.06), (144, 1.05), (168, 1.05), (192, 1.05)):
        bench.write(hours, Reading(gravity=gravity, temperature_c=20))
    closed = record.start_batch(bench.ledger, plan(), "Gone", now=PITCHED, pitched_at=PITCHED)
    record.write(bench.ledger, closed.slug, Event("bottled"), at=PITCHED)
    found = due_today(bench.ledger, bench.now + timedelta(hours=1), UTC, budget_s=30)
    assert found.today[0].slug == "heather"
    assert found.today[0].finding == "Stopped short"
    assert found.closed == 1
    assert found.stale == 0
    ranks = [i.rank for i in found.today]
    assert ranks == sorted(ranks, reverse=True)


def test_digests_are_refreshed_within_their_budget_and_say_when_they_are_old(bench):
    bench.look()
    bench.write(18, Reading(gravity=1.116))
    found = due_today(bench.ledger, bench.now, UTC, budget_s=-1)
    assert found.stale == 1
    assert due_today(bench.ledger, bench.now, UTC, budget_s=30).stale == 0


# Files ------------------------------------------------------------------------------------------


def busy(bench) -> None:
    bench.write(18, Reading(gravity=1.116, temperature_c=20.5, ph=3.61, note='=foam, "thick"'))
    bench.write(19, FeedGiven(feed_typed({"feed": "f1"}, plan()).items, "f1", note="two parts"))
    bench.write(20, Event("moved", temperature_c=15.0, note="cellar"))
    bench.write(21, Reading(brix=21.3, instrument="refractometer", sample_c=18.0))
    bench.write(21.5, Reading(ph=3.4, ph_by="strip"))
    bench.write(22, Note("smells of\nheather; -1 point"))
    gone = bench.write(23, Note("to go"))
    record.remove(bench.ledger, bench.slug, gone.id, now=bench.now)
    first = bench.ledger.log(bench.slug)[2]
    new = retyped(first.what, {"gravity": "1.115"})
    record.correct(bench.ledger, bench.slug, first.id, new, now=bench.now)


def test_json_brings_the_whole_batch_back_to_the_letter(bench, elsewhere):
    """Times, authors and places of every line too: what comes out again is the same file."""
    busy(bench)
    add_photo(bench.ledger, bench.slug, picture(), at=bench.now, caption="crown")
    bench.ledger.rename(bench.slug, "Heather bell", bench.ledger.batch(bench.slug).version)
    bench.write(90, Note("after the new name"))
    text = export_json(bench.ledger, bench.slug)
    again = import_json(elsewhere, text)
    assert (again.slug, again.name) == ("heather", "Heather bell")
    assert elsewhere.log(again.slug) == bench.ledger.log(bench.slug)
    assert export_json(elsewhere, again.slug) == text
    (mine,), (theirs,) = bench.ledger.photos(bench.slug), elsewhere.photos(again.slug)
    content = elsewhere.photo(again.slug, theirs.id).content
    assert content == bench.ledger.photo(bench.slug, mine.id).content
    assert record.write(elsewhere, again.slug, Note("goes on"), at=bench.now).seq > 0


def test_the_same_file_again_writes_nothing(bench, elsewhere):
    busy(bench)
    text = export_json(bench.ledger, bench.slug)
    for ledger in (bench.ledger, elsewhere):
        first = import_json(ledger, text)
        log, stamp = ledger.log(first.slug), ledger.stamp()
        assert import_json(ledger, text) == first
        assert ledger.log(first.slug) == log
        assert ledger.stamp() == stamp
    bench.write(91, Note("later"))
    assert import_json(bench.ledger, text).slug == bench.slug, "what was written since stays"
    assert len(bench.ledger.batches()) == 1
    with pytest.raises(ConflictError, match="is not in it"):
        import_json(elsewhere, export_json(bench.ledger, bench.slug))
    elsewhere.delete_batch("heather", elsewhere.batch("heather").version)
    with pytest.raises(ConflictError, match="deleted"):
        import_json(elsewhere, text)
    assert len(elsewhere.batches()) == 0


def test_a_batch_of_an_older_file_takes_its_name_and_a_free_short_name(bench, elsewhere):
    busy(bench)
    data = json.loads(export_json(bench.ledger, bench.slug))
    for key in ("slug", "version", "updated_at"):
        del data[key]
    for line in data["log"]:
        del line["seq"], line["logged_at"]
    elsewhere.start("Heather", "", [Entry("p", PITCHED, "me", PlanAdopted(plan()))])
    assert import_json(elsewhere, json.dumps(data)).slug == "heather-2"


def test_two_who_take_in_the_same_file_at_once_make_one_batch(bench, elsewhere):
    busy(bench)
    text = export_json(bench.ledger, bench.slug)

    def take(_: int) -> str:
        try:
            return import_json(elsewhere, text).slug
        except ConflictError:
            return "refused"

    with ThreadPoolExecutor(6) as pool:
        assert set(pool.map(take, range(6))) <= {"heather", "refused"}
    assert [b.slug for b in elsewhere.batches()] == ["heather"]


@pytest.mark.parametrize(
    "spoil",
    [
        "schema", "log", "photo", "at", "kind", "gravity", "seq", "future", "ahead", "version",
        "slug",
    ],
)  # fmt: skip
def test_a_spoiled_json_file_writes_nothing(bench, spoil):
    busy(bench)
    add_photo(bench.ledger, bench.slug, picture(), at=bench.now)
    data = json.loads(export_json(bench.ledger, bench.slug))
    if spoil == "schema":
        data["schema"] = "other"
    elif spoil == "log":
        data["log"] = data["log"][1:]
    elif spoil == "photo":
        data["photos"][0]["sha256"] = "0" * 64
    elif spoil == "at":
        data["log"][3]["at"] = "yesterday"
    elif spoil == "ahead":
        data["log"][3]["at"] = (bench.now + timedelta(minutes=11)).isoformat()
    elif spoil == "kind":
        data["log"][3]["kind"] = "dance"
    elif spoil == "seq":
        data["log"][3]["seq"] = data["log"][2]["seq"]
    elif spoil == "future":
        data["log"][3]["at"] = "2099-01-01T00:00:00+00:00"
    elif spoil in ("version", "slug"):
        data[spoil] = 1
    else:
        data["log"][2]["content"]["gravity"] = "much"
    data["log"][0]["id"] = "another batch"
    before = len(bench.ledger.batches())
    with pytest.raises(InputError):
        import_json(bench.ledger, json.dumps(data))
    assert len(bench.ledger.batches()) == before


def preview(bench, text, slug=None, **more):
    bench.now += timedelta(days=5)
    return preview_csv(bench.ledger, slug or bench.slug, text, now=bench.now, zone=UTC, **more)


def test_csv_brings_what_counts_back_into_another_batch(bench):
    busy(bench)
    text = export_csv(bench.look().stands)
    other = record.start_batch(bench.ledger, plan(), "Other", now=PITCHED)
    found = preview(bench, text, other.slug)
    assert found.problems == ()
    import_csv(bench.ledger, other.slug, found)
    assert export_csv(look(bench.ledger, other.slug, bench.now, UTC).stands) == text
    assert preview(bench, text, other.slug).new == ()


def test_a_makers_own_columns_are_mapped_and_imported_once(bench):
    rows = ("Datum;Dichte;Keller;Bemerkung", "2031-05-02 08:00;1.112;20 C;ok")
    text = "\n".join((*rows, "2031-05-03 08:00;1,101;;", ""))
    columns = {"at": "Datum", "gravity": "Dichte", "temperature": "Keller"}
    found = preview(bench, text, columns=columns)
    assert [e.what.gravity for e in found.new] == [1.112, 1.101]
    assert found.ignored == ("Bemerkung",)
    import_csv(bench.ledger, bench.slug, found)
    again = preview(bench, text, columns=columns)
    assert (again.new, again.known) == ((), 2)


def test_one_bad_line_and_nothing_is_imported(bench):
    text = "at,gravity\n2031-05-02 08:00,1.112\n2031-05-03 08:00,9.9\nsoon,1.1\n"
    before = bench.ledger.log(bench.slug)
    found = preview(bench, text)
    assert [p.line for p in found.problems] == [3, 4]
    with pytest.raises(InputError, match="line 3"):
        import_csv(bench.ledger, bench.slug, found)
    assert bench.ledger.log(bench.slug) == before


TABLES = ["", "no,when\n1,2\n", 'at,"gravity\n', "at,gravity\n1,2,3\n", "\0"]


@pytest.mark.parametrize("text", TABLES)
def test_a_file_that_is_no_table_is_refused(bench, text):
    with pytest.raises(InputError):
        preview(bench, text)


# Calendar and paper -----------------------------------------------------------------------------


def events(bench, hours: float | None = None):
    made = Calendar.from_ical(calendar_text([bench.look(hours)], "Heather", UTC))
    return {str(e["uid"]): e for e in made.walk("VEVENT")}


def test_the_calendar_follows_a_replan_without_doubling(bench):
    first = events(bench)
    assert len(first) == len(plan().feeds)
    bench.write(72, Reading(gravity=1.085, temperature_c=20))
    adopt(bench.ledger, bench.slug, now=bench.now, zone=UTC)
    second = events(bench)
    assert {u for u in first if "-f" in u} <= set(second)
    for uid, event in first.items():
        assert int(second[uid]["sequence"]) > int(event["sequence"])
    states = {uid: str(e["status"]) for uid, e in second.items()}
    assert "CANCELLED" in states.values()
    folded = next(f.key for f in bench.look().progress.plan.feeds if f.dropped)
    assert states[next(u for u in states if f"-{folded}@" in u)] == "CANCELLED"


def test_feeds_ahead_ring_and_feeds_given_do_not(bench):
    bench.write(18, Reading(gravity=1.116))
    bench.write(19, FeedGiven(feed_typed({"feed": "f1"}, plan()).items, "f1"))
    found = events(bench)
    given = next(e for u, e in found.items() if "-f1@" in u)
    ahead = next(e for u, e in found.items() if "-f2@" in u)
    assert (str(given["status"]), len(given.walk("VALARM"))) == ("CONFIRMED", 0)
    assert (str(ahead["status"]), len(ahead.walk("VALARM"))) == ("TENTATIVE", 2)
    assert given["dtstart"].dt == PITCHED + timedelta(hours=19)
    assert str(ahead["dtstart"].dt.tzinfo) == "UTC"


def test_the_sheet_has_plan_breaks_cautions_and_room_to_write(bench):
    paper = paper_of(bench.look(), EAST)
    assert len(paper.feeds) == 4
    assert all("g " in f.grams for f in paper.feeds)
    assert len(paper.breaks) == 6
    gravities = [float(g) for _, g in paper.breaks]
    assert gravities == sorted(gravities, reverse=True)
    assert len(paper.cautions) >= 5
    assert paper.blank_rows > 10


# What is typed ----------------------------------------------------------------------------------


def test_moments_as_people_type_them():
    now = datetime(2031, 5, 3, 9, tzinfo=UTC)
    assert moment_typed("", now, EAST) == now
    assert moment_typed("10:30", now, EAST) == datetime(2031, 5, 3, 8, 30, tzinfo=UTC)
    assert moment_typed("23:00", now, EAST) == datetime(2031, 5, 2, 21, tzinfo=UTC)
    assert moment_typed("2031-05-01 18:00", now, EAST).utcoffset() == timedelta(hours=2)
    for wrong in ("25:00", "soon", "2031-05-04 18:00", "0001-01-01"):
        with pytest.raises(InputError):
            moment_typed(wrong, now, EAST)


def test_readings_as_people_type_them():
    assert reading_typed({"gravity": "1062"}).gravity == 1.062
    assert reading_typed({"gravity": "15 Bx"}).brix == 15.0
    assert reading_typed({"gravity": "15", "instrument": "refractometer"}).brix == 15.0
    assert reading_typed({"temperature": "68 F"}).temperature_c == 20.0
    assert reading_typed({"gravity": "90 Oe"}).gravity == pytest.approx(1.090)
    for wrong in ({"gravity": "15"}, {"gravity": "wet"}, {"sugar": "1"}, {"gravity": "20 C"}):
        with pytest.raises(InputError):
            reading_typed(wrong)


def test_feeds_and_events_as_people_type_them():
    fed = feed_typed({"items": "dap=4.2 g, autolysed_yeast 0.1 oz"}, plan())
    assert [(i.nutrient, i.grams) for i in fed.items] == [
        ("dap", 4.2),
        ("autolysed_yeast", pytest.approx(2.834952)),
    ]
    planned = plan().feed("f2")
    assert len(feed_typed({"feed": "f2"}, plan()).items) == len(planned.doses)
    assert feed_typed({"feed": "f2", "skipped": "yes"}, plan()).skipped
    assert event_typed({"what": "Foamed over"}).what == "foamed_over"
    for wrong in ({"items": "dap"}, {"items": "gold=1 g"}, {"feed": "f9"}, {}):
        with pytest.raises(InputError):
            feed_typed(wrong, plan())
    with pytest.raises(InputError):
        event_typed({"what": "exploded"})


# Pictures ---------------------------------------------------------------------------------------


def picture(width: int = 40, height: int = 30, form: str = "JPEG", **more) -> bytes:
    out = io.BytesIO()
    chance = random.Random(1)
    image = Image.frombytes("RGB", (width, height), chance.randbytes(3 * width * height))
    image.save(out, form, **more)
    return out.getvalue()


def test_a_picture_loses_what_it_tells_and_keeps_what_it_shows():
    exif = Image.Exif()
    exif[0x010F], exif[0x0112] = "SecretCamera", 6  # turned by a quarter
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)
    raw = picture(2400, 1200, exif=exif, comment=b"SecretComment")
    assert b"SecretCamera" in raw
    made, width, height = prepared(raw)
    assert (width, height) == (800, 1600)
    assert b"Secret" not in made
    assert b"Exif" not in made
    with Image.open(io.BytesIO(made)) as image:
        assert not image.getexif()


@pytest.mark.parametrize("form", ["PNG", "WEBP"])
def test_other_formats_become_jpeg(form):
    made, _, _ = prepared(picture(form=form))
    assert made[:2] == b"\xff\xd8"


def test_a_picture_prepared_once_stays_as_it_is():
    made, _, _ = prepared(picture(3000, 20))
    assert prepared_once(made)[0] == made
    exif = Image.Exif()
    exif[0x010F] = "SecretCamera"
    assert b"Secret" not in prepared_once(picture(exif=exif))[0]
    assert b"Secret" not in prepared_once(picture(comment=b"Secret"))[0]


def bomb() -> bytes:
    """A small file that claims to be 60,000 pixels square."""
    raw = bytearray(picture(8, 8, "PNG"))
    raw[16:24] = (60_000).to_bytes(4, "big") * 2
    import zlib

    raw[29:33] = zlib.crc32(bytes(raw[12:29])).to_bytes(4, "big")
    return bytes(raw)


@pytest.mark.parametrize(
    "content",
    [b"", b"GIF89a" + b"\0" * 50, picture()[:300], bomb(), b"<svg/>", b"\xff" * 15_000_001],
    ids=["empty", "gif", "cut", "bomb", "svg", "large"],
)
def test_what_is_no_picture_is_refused_by_name(content):
    with pytest.raises(InputError) as refused:
        prepared(content)
    assert refused.value.field == "photo"


# Access -----------------------------------------------------------------------------------------


def test_tokens_are_for_one_purpose_and_batch(bench):
    _, secret = new_token(bench.ledger, bench.slug, "device", "float")
    found = token_of(bench.ledger, secret, "device", bench.slug)
    assert found.label == "float"
    assert token_of(bench.ledger, secret, "calendar", bench.slug) is None
    assert token_of(bench.ledger, secret, "device", "other") is None
    assert token_of(bench.ledger, "short", "device", bench.slug) is None
    bench.ledger.revoke_token(found.id)
    assert token_of(bench.ledger, secret, "device", bench.slug) is None


def test_the_passphrase_is_kept_as_argon2_and_ends_sessions(bench):
    access.set_passphrase(bench.ledger, "heather and gorse")
    assert bench.ledger.setting("passphrase").startswith("$argon2id$")
    assert access.is_passphrase(bench.ledger, "heather and gorse")
    assert not access.is_passphrase(bench.ledger, "heather and broom")
    secret = access.open_session(bench.ledger, PITCHED)
    assert access.is_session(bench.ledger, secret)
    access.set_passphrase(bench.ledger, "gorse and heather")
    assert not access.is_session(bench.ledger, secret)
    with pytest.raises(InputError):
        access.set_passphrase(bench.ledger, "short")


def test_patience_grows_with_wrong_guesses_and_forgets_after_the_right_one():
    now = {"s": 0.0}
    patience = access.Patience(lambda: now["s"])
    for _ in range(4):
        assert patience.admit("a") == 0
    assert patience.wait_s("a") == 0
    waits = []
    for _ in range(12):
        assert patience.admit("a") == 0
        waits.append(patience.wait_s("a"))
        now["s"] += waits[-1]
    assert waits[:3] == [5, 10, 20]
    assert max(waits) == access.LONGEST_WAIT_S
    assert patience.wait_s("b") == 0
    patience.succeeded("a")
    assert patience.admit("a") == 0
    assert patience.wait_s("a") == 0


def test_a_guess_is_counted_before_it_is_tested_and_over_all_addresses():
    now = {"s": 0.0}
    patience = access.Patience(lambda: now["s"])
    with ThreadPoolExecutor(16) as pool:  # 40 at once, none of them answered yet
        admitted = [wait for wait in pool.map(lambda _: patience.admit("a"), range(40)) if not wait]
    assert len(admitted) == access.FREE_TRIES
    tried = sum(patience.admit(f"address {i}") == 0 for i in range(500))
    assert tried == access.FREE_TRIES_OF_ALL - access.FREE_TRIES
    waits = []
    for i in range(8):
        waits.append(patience.wait_s(f"other {i}"))
        now["s"] += waits[-1]
        assert patience.admit(f"other {i}") == 0
    assert max(waits) == access.LONGEST_WAIT_OF_ALL_S  # the maker is not kept out for long


def test_a_small_cellar_is_never_shown_as_it_was_a_moment_ago(bench):
    now = bench.now
    slugs = [
        record.start_batch(bench.ledger, plan(), f"B{i}", now=now, pitched_at=PITCHED).slug
        for i in range(8)
    ]
    first = due_today(bench.ledger, now, UTC)
    assert first.stale == 0
    assert {i.slug for i in (*first.today, *first.later)} >= set(slugs)
    record.write(bench.ledger, slugs[0], Event("ended"), at=now)
    again = due_today(bench.ledger, now, UTC)
    assert again.closed == first.closed + 1
    assert again.stale == 0


RUN = ["=1+1", "+1+cmd|' /C calc'!A0", "-1+1", "@SUM(1)", "\t=1", "\r=1", " =1", "\n+1", "＝1",
       "－1+2", "+1-555-0100", "-2+3+cmd", "-", "+a", "'=1", "\u200b=1"]  # fmt: skip


@pytest.mark.parametrize("words", RUN)
def test_no_cell_is_run_by_a_spreadsheet_and_all_come_back(bench, words):
    bench.write(1, Note(words + " x" if not words.strip() else words))
    table = export_csv(bench.look().stands)
    cell = next(csv.DictReader(io.StringIO(table[table.index("id,") :])), {})
    rows = list(csv.DictReader(io.StringIO(table)))
    note = rows[-1]["note"]
    assert note[0] == "'" or note == words, cell
    assert note.lstrip()[:1] not in "=+-@＝－", note
    other = record.start_batch(bench.ledger, plan(), "Other", now=PITCHED).slug
    found = preview(bench, table, slug=other)
    assert found.problems == ()
    assert [e.what.text.strip() for e in found.new if e.what.kind == "note"] == [words.strip()]


def test_numbers_of_a_table_stay_numbers(bench):
    bench.write(1, Reading(brix=-1.25, instrument="refractometer"))
    bench.write(2, Reading(gravity=1.062, temperature_c=-3.5, ph=3.4))
    rows = list(csv.DictReader(io.StringIO(export_csv(bench.look().stands))))
    assert [r["gravity"] for r in rows[-2:]] == ["-1.25 Bx", "1.062"]
    assert rows[-1]["temperature"] == "-3.5 C"


def test_a_batch_can_follow_its_protocol_as_written_and_the_law_still_holds():
    """The label typed and the stock bind a plan that is fitted, not one that follows its author."""
    tight = STRONG.replace("dap = {}", "dap = {label_max_g_l = 0.2}").replace(
        "complex_blend = {}", 'complex_blend = "3 g"'
    )
    fitted, written = (
        record.plan_of(tight, "staged_for_strong_musts", {}, as_written=wish)
        for wish in (False, True)
    )

    def dap(plan):
        return sum(d.grams for f in plan.feeds for d in f.doses if d.nutrient == "dap")

    assert dap(fitted) <= 0.2 * 19 + 1e-6 < dap(written)
    law = [most for most in written.most if most.key.startswith("limit:") and not most.advises]
    assert law
    for most in law:
        given = sum(
            d.grams * most.weights.get(d.nutrient, 0.0) for f in written.feeds for d in f.doses
        )
        assert given <= most.most_g_l * 19 * (1 + 1e-9)
    assert all(most.advises for most in written.most if most.key.startswith("label:"))


def test_a_volume_ten_times_too_large_is_refused_and_nothing_lost(tmp_path):
    with store_of("sqlite", tmp_path, lambda: PITCHED) as store:
        made = record.start_batch(store.ledger, plan(), "Lime", now=PITCHED, pitched_at=PITCHED)
        before = len(store.ledger.log(made.slug))
        with pytest.raises(InputError, match="by the log 19 L is in the vessel"):
            record.write(store.ledger, made.slug, Event("racked", litres=180.0), at=PITCHED)
        assert len(store.ledger.log(made.slug)) == before
        for what, litres in (("racked", 18.0), ("fruit_in", 24.0), ("racked", 22.5)):
            record.write(store.ledger, made.slug, Event(what, litres=litres), at=PITCHED)
        assert len(store.ledger.log(made.slug)) == before + 3
