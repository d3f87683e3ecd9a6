"""Batches are kept alike in a file and in PostgreSQL: logs only grow, nothing is overwritten."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from batches import PITCHED, plan
from databases import KINDS, place_of, store_of
from mustwright.batch.entries import (
    Correction,
    Entry,
    Event,
    FeedGiven,
    Given,
    Note,
    PlanAdopted,
    Reading,
    Removal,
    what_data,
)
from mustwright.errors import ConflictError, InputError
from mustwright.services.batch.repository import ChangedEntryError, Ledger, PhotoRecord, SameIdError
from mustwright.services.repository import MissingRecordError
from mustwright.store.cellar_store import CellarStore


def make_clock():
    ticks = iter(datetime(2031, 6, 1, tzinfo=UTC) + timedelta(seconds=s) for s in range(100_000))
    return lambda: next(ticks)


@pytest.fixture(params=KINDS)
def ledger(request, tmp_path):
    with store_of(request.param, tmp_path, make_clock()) as store:
        yield store.ledger


def entry(id: str, what, hours: float = 1.0) -> Entry:
    return Entry(id, PITCHED + timedelta(hours=hours), "test", what)


def started(ledger: Ledger, name: str = "Heather"):
    return ledger.start(name, "", [entry("plan", PlanAdopted(plan()), 0)])


def test_a_new_batch_has_its_plan_and_is_read_back_to_the_letter(ledger):
    record = started(ledger)
    (first,) = ledger.log(record.slug)
    assert (record.slug, record.version, first.seq) == ("heather", 1, 1)
    assert first.what == PlanAdopted(plan())
    assert first.at == PITCHED
    assert ledger.batches() == [record]


def test_lines_are_numbered_on_and_count_the_version(ledger):
    slug = started(ledger).slug
    kept = ledger.append(slug, [entry("a", Note("one")), entry("b", Reading(gravity=1.1))])
    assert [e.seq for e in kept] == [2, 3]
    assert ledger.batch(slug).version == 3
    assert ledger.log(slug)[1:] == kept


def test_the_same_id_twice_is_written_once(ledger):
    slug = started(ledger).slug
    first = ledger.append(slug, [entry("a", Reading(gravity=1.1))])
    again = ledger.append(slug, [entry("a", Reading(gravity=1.1)), entry("b", Note("more"))])
    assert again[0] == first[0]
    assert [e.id for e in ledger.log(slug)] == ["plan", "a", "b"]
    twice = ledger.append(slug, [entry("c", Note("x")), entry("c", Note("x"))])
    assert twice[0] == twice[1]
    assert len(ledger.log(slug)) == 4


def test_the_same_id_with_other_words_is_refused_with_both_and_writes_nothing(ledger):
    slug = started(ledger).slug
    ledger.append(slug, [entry("a", Reading(gravity=1.1))])
    with pytest.raises(SameIdError) as refused:
        ledger.append(slug, [entry("b", Note("new")), entry("a", Reading(gravity=1.2))])
    assert refused.value.mine.what == Reading(gravity=1.2)
    assert refused.value.theirs[0].what == Reading(gravity=1.1)
    assert [e.id for e in ledger.log(slug)] == ["plan", "a"]


def test_two_who_correct_the_same_entry_do_not_overwrite_silently(ledger):
    slug = started(ledger).slug
    ledger.append(slug, [entry("a", Reading(gravity=1.1)), entry("b", Note("other"))])
    seen = ledger.batch(slug).version

    def correction(id: str, gravity: float) -> Entry:
        at = PITCHED + timedelta(hours=1)
        before, after = (what_data(Reading(gravity=g)) for g in (1.1, gravity))
        return entry(id, Correction("a", at, at, before, after))

    ledger.append(slug, [correction("c1", 1.09)], seen)
    with pytest.raises(ChangedEntryError) as refused:
        ledger.append(slug, [correction("c2", 1.08)], seen)
    assert refused.value.mine.what.after["gravity"] == 1.08
    assert [e.what.after["gravity"] for e in refused.value.theirs] == [1.09]
    ledger.append(slug, [entry("d", Removal("b"))], seen)  # another entry: no conflict
    ledger.append(slug, [correction("c3", 1.08)], ledger.batch(slug).version)


def test_two_plans_from_the_same_state_conflict(ledger):
    slug = started(ledger).slug
    seen = ledger.batch(slug).version
    second = replace(plan(), number=2)
    ledger.append(slug, [entry("p2", PlanAdopted(second))], seen)
    with pytest.raises(ChangedEntryError):
        ledger.append(slug, [entry("p3", PlanAdopted(second))], seen)


def test_a_change_of_nothing_is_refused(ledger):
    slug = started(ledger).slug
    with pytest.raises(MissingRecordError, match="ghost"):
        ledger.append(slug, [entry("x", Removal("ghost"))])


def test_deleted_is_hidden_with_its_log_and_comes_back_whole(ledger):
    record = started(ledger)
    ledger.append(record.slug, [entry("a", Note("one"))])
    with pytest.raises(ConflictError):
        ledger.delete_batch(record.slug, record.version)
    ledger.delete_batch(record.slug, 2)
    assert ledger.batches() == []
    assert [b.slug for b in ledger.batches(deleted=True)] == [record.slug]
    for ask in (ledger.batch, ledger.log, lambda s: ledger.append(s, [entry("b", Note("no"))])):
        with pytest.raises(MissingRecordError):
            ask(record.slug)
    assert ledger.restore_batch(record.slug).version == 4
    assert [e.id for e in ledger.log(record.slug)] == ["plan", "a"]
    kept = ledger.append(record.slug, [entry("b", Note("two"))])
    assert kept[0].seq == 5


def test_renaming_keeps_the_slug_and_asks_for_the_version(ledger):
    record = started(ledger)
    renamed = ledger.rename(record.slug, "Ling", record.version)
    assert (renamed.slug, renamed.name, renamed.version) == ("heather", "Ling", 2)
    with pytest.raises(ConflictError):
        ledger.rename(record.slug, "Broom", record.version)


def test_of_many_who_write_at_once_none_is_lost(ledger):
    slug = started(ledger).slug

    def write(i: int) -> int:
        return ledger.append(slug, [entry(f"n{i}", Note(str(i)))])[0].seq

    with ThreadPoolExecutor(8) as pool:
        places = list(pool.map(write, range(64)))
    assert sorted(places) == list(range(2, 66))
    assert ledger.batch(slug).version == 65


def test_a_digest_of_an_older_version_is_not_kept(ledger):
    slug = started(ledger).slug
    ledger.append(slug, [entry("a", Note("one"))])
    ledger.keep_digest(slug, 1, "old")
    assert ledger.batch(slug).digest == ""
    ledger.keep_digest(slug, 2, "new")
    found = ledger.batch(slug)
    assert (found.digest, found.digest_version, found.version) == ("new", 2, 2)


def test_tokens_are_found_by_their_hash_until_they_are_ended(ledger):
    slug = started(ledger).slug
    token = ledger.add_token("t1", slug, "device", "float", "h" * 64)
    assert ledger.token_of("h" * 64) == token
    assert ledger.tokens(slug) == [token]
    assert ledger.tokens(None) == []
    ended = ledger.revoke_token("t1")
    assert ended.revoked_at is not None
    assert ledger.revoke_token("t1") == ended
    assert ledger.token_of("h" * 64) is None


def test_pictures_come_back_to_the_byte(ledger):
    slug = started(ledger).slug
    photo = PhotoRecord("p", slug, "image/jpeg", 2, 3, 3, "s" * 64, PITCHED, b"\x00\xffa")
    ledger.add_photo(photo)
    assert ledger.photo(slug, "p") == photo
    assert ledger.photos(slug) == [replace(photo, content=b"")]
    with pytest.raises(MissingRecordError):
        ledger.photo(slug, "q")


def test_settings_and_sessions(ledger):
    assert ledger.setting("a") is None
    ledger.keep_setting("a", "1")
    ledger.keep_setting("a", "2")
    assert ledger.setting("a") == "2"
    ledger.keep_setting("a", None)
    assert ledger.setting("a") is None
    ends = datetime(2031, 7, 1, tzinfo=UTC)
    ledger.add_session("s", ends)
    ledger.add_session("over", datetime(2031, 1, 1, tzinfo=UTC))
    assert ledger.session_ends("s") == ends
    assert ledger.session_ends("over") is None
    ledger.end_sessions()
    assert ledger.session_ends("s") is None


def test_a_batch_needs_a_first_line(ledger):
    with pytest.raises(InputError):
        ledger.start("Empty", "", [])
    assert ledger.batches() == []


@pytest.mark.parametrize("kind", KINDS)
def test_of_many_changes_at_once_none_is_lost(kind, tmp_path):
    """Sheets too: each worker adds one by read and write; refused ones try again."""
    with place_of(kind, tmp_path) as place:
        clock = make_clock()
        store = CellarStore(place, clock, tmp_path)
        store.save("nutrient", "count", "0", None)

        def add_one(_: int) -> None:
            while True:
                read = store.record("nutrient", "count")
                try:
                    store.save("nutrient", "count", str(int(read.text) + 1), read.version)
                except ConflictError:
                    continue
                return

        with ThreadPoolExecutor(6) as pool:
            list(pool.map(add_one, range(30)))
        assert store.record("nutrient", "count").text == "30"
        store.close()


# Forecasts ----------------------------------------------------------------------------------------


def test_one_forecast_is_kept_for_a_batch_the_latest(ledger):
    slug = started(ledger).slug
    assert ledger.outlook(slug) is None
    ledger.keep_outlook(slug, 3, "three")
    ledger.keep_outlook(slug, 2, "two")
    assert ledger.outlook(slug) == "three"
    ledger.keep_outlook(slug, 3, "three again")
    ledger.keep_outlook("nowhere", 1, "lost")
    assert (ledger.outlook(slug), ledger.outlook("nowhere")) == ("three again", None)
    assert ledger.batch(slug).version == 1, "a forecast is no change of the batch"


def test_whoever_listens_hears_of_every_log_that_grew_and_of_no_other(ledger):
    slug, heard = started(ledger).slug, []
    ledger.listen(heard.append)
    ledger.append(slug, [entry("a", Note("one"))])
    ledger.append(slug, [entry("a", Note("one"))])
    with pytest.raises(SameIdError):
        ledger.append(slug, [entry("a", Note("two"))])
    assert heard == [slug]


def test_a_gist_is_kept_with_the_lines_it_leaves_out(ledger):
    slug = started(ledger).slug
    assert ledger.gist(slug) is None
    ledger.append(slug, [entry("a", Reading(gravity=1.1)), entry("b", Event("racked"))])
    ledger.keep_gist(slug, 3, b"\x00\xff three")
    ledger.keep_gist(slug, 2, b"two")
    content, lines = ledger.gist(slug)
    assert content == b"\x00\xff three"
    assert [e.id for e in lines] == ["plan", "b"]
    ledger.keep_gist("nowhere", 1, b"lost")
    assert ledger.gist("nowhere") is None


def test_a_log_is_read_in_parts(ledger):
    slug = started(ledger).slug
    ledger.append(slug, [entry(f"e{k}", Reading(gravity=1.1, ph=3.5)) for k in range(7)])
    whole = ledger.log(slug)
    assert len(whole) == 8
    assert ledger.log(slug, after=3) == whole[3:]
    assert ledger.log(slug, after=3, most=2) == whole[3:5]
    assert ledger.log(slug, after=8) == []


def test_lines_of_every_kind_are_read_back_to_the_letter(ledger):
    slug = started(ledger).slug
    written = [
        entry("a", Reading(gravity=1.1, sample_c=19.5, temperature_c=20.0, note="ä\n'\"")),
        entry("b", Reading(brix=21.5, instrument="refractometer")),
        entry("c", Event("moved", temperature_c=12.0)),
        entry("d", Event("racked")),
        entry("e", FeedGiven((Given("dap", 3.0, "salt"),), "f1")),
        entry("f", Note("words")),
        entry("g", Removal("f", "by mistake")),
    ]
    kept = ledger.append(slug, written)
    assert ledger.log(slug)[1:] == kept
    assert [e.what for e in kept] == [e.what for e in written]
    assert [e.at for e in ledger.log(slug)[1:]] == [e.at for e in written]
