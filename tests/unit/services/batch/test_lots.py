"""A lot code leads back to its batch, also after the log was corrected."""

from __future__ import annotations

from datetime import UTC, date

import pytest

from batch_pages import Cellar
from batches import plan
from finished import LANE, dry_batch
from mustwright.batch.entries import Removal
from mustwright.bench.batch_start import start_from
from mustwright.bench.step_table import STEPS, run_step
from mustwright.compose import Compose
from mustwright.errors import InputError
from mustwright.services.batch import record as log
from mustwright.services.batch.batch_view import look
from mustwright.services.batch.finishing import filled, record_step
from mustwright.services.batch.lots import trace
from mustwright.services.repository import MissingRecordError

CODE = "L31152-LANE"


@pytest.fixture
def cellar(tmp_path):
    found = Cellar(Compose(tmp_path))
    yield found
    found.compose.close()


def do(cellar: Cellar, slug: str, step: str, used=None, **typed):
    start = start_from(look(cellar.ledger, slug, cellar.now, UTC), UTC)
    fields = filled(STEPS[step].fields, typed, start, lambda _: start)
    result = run_step(step, fields.given, date(2031, 6, 1))
    entry = record_step(cellar.ledger, result, fields, used or {}, at=cellar.now)
    cellar.pass_hours(1)
    return entry


def bottled(cellar: Cellar, slug: str, **more):
    sulfite = do(cellar, slug, "sulfite")
    return sulfite, do(cellar, slug, "bottle", size="750 mL", contents="Honey", **more)


def test_what_is_in_the_bottle(cellar):
    slug = dry_batch(cellar)
    _, bottle = bottled(cellar, slug, bottled="2031-06-01")
    (lot,) = trace(cellar.ledger, f" {CODE.lower()} ", UTC)
    assert (lot.code, lot.slug, lot.name, lot.entry) == (CODE, slug, "Lane", bottle.id)
    now = look(cellar.ledger, slug, cellar.now, UTC).progress
    assert lot.held.alcohol_pct == pytest.approx(now.alcohol_pct)
    assert lot.held.volume_l == 19.0  # before it was bottled
    salt = next(p for p in lot.parts if "metabisulfite" in p.words)
    assert salt.at is not None
    assert [p.words for p in lot.parts if p.at is None][-1].endswith("low-demand neutral")
    (label,) = lot.said
    assert (label.kind, label.volume, label.sulfite) == ("Mead", "750 mL", "Contains sulfites")
    assert label.contents == "Honey"
    assert label.warning  # the US profile of the plan
    assert not lot.differs
    assert (lot.corrected, lot.removed, lot.refused) == ((), False, "")


def test_facts_of_the_lots_that_went_in(cellar):
    sheet = (
        LANE.replace('[measured]\ngravity = "1.098"', "")
        .replace(
            'volume = "19 L"',
            'volume = "19 L"\ngravity = "1.098"\n'
            '[[must.ingredient]]\nkind = "clover honey"\namount = "solve"\nmoisture_pct = 17.4\n'
            '[[must.ingredient]]\nkind = "water"\namount = "fill"',
        )
        .replace('temperature = "20 C"\n', "")
    )
    slug = cellar.start("Lane", 24 * 60, plan=plan(sheet)).slug
    for days, gravity in ((59, 1.096), (40, 1.005), (29, 0.991), (8, 0.991)):
        cellar.read(slug, 24 * days, gravity, temperature_c=20.0, ph=3.5)
    bottled(cellar, slug, bottled="2031-06-01")
    (lot,) = trace(cellar.ledger, CODE, UTC)
    honey, water = lot.parts[:2]
    assert honey.words.endswith(" kg of clover honey")
    assert 5 < float(honey.words.split()[0]) < 8
    assert honey.facts == "moisture_pct: 17.4"
    assert water.words.endswith("kg of water")


def test_a_log_corrected_afterwards_shows_both_labels(cellar):
    slug = dry_batch(cellar)
    sulfite, _ = bottled(cellar, slug, bottled="2031-06-01")
    before = trace(cellar.ledger, CODE, UTC)[0]
    log.write(cellar.ledger, slug, Removal(sulfite.id), at=cellar.now)
    (lot,) = trace(cellar.ledger, CODE, UTC)
    assert lot.said == before.said
    assert lot.said[0].sulfite == "Contains sulfites"
    assert lot.differs
    assert lot.would_say[0].sulfite == ""
    assert lot.held.total_so2_mg_l is None
    assert len(lot.corrected) == 1
    assert lot.corrected[0].startswith("Taken out on ")


def test_a_reading_written_late_changes_what_it_would_say(cellar):
    slug = dry_batch(cellar)
    bottled(cellar, slug, bottled="2031-06-01")
    cellar.read(slug, 24, 1.010, temperature_c=20.0)
    (lot,) = trace(cellar.ledger, CODE, UTC)
    assert lot.differs
    assert float(lot.would_say[0].alcohol.split()[0]) < float(lot.said[0].alcohol.split()[0]) - 1
    assert any("Written down later: reading 1.010" in line for line in lot.corrected)


def test_a_removed_bottling_is_still_found(cellar):
    slug = dry_batch(cellar)
    _, bottle = bottled(cellar, slug, bottled="2031-06-01")
    log.write(cellar.ledger, slug, Removal(bottle.id), at=cellar.now)
    (lot,) = trace(cellar.ledger, CODE, UTC)
    assert lot.removed


def test_a_deleted_batch_is_still_found_by_the_bottles_it_left(cellar):
    slug = dry_batch(cellar)
    _, bottle = bottled(cellar, slug, bottled="2031-06-01")
    (before,) = trace(cellar.ledger, CODE, UTC)
    assert not before.deleted
    cellar.ledger.delete_batch(slug, cellar.ledger.batch(slug).version)
    (lot,) = trace(cellar.ledger, CODE, UTC)
    assert lot.deleted
    assert (lot.entry, lot.said, lot.held) == (bottle.id, before.said, before.held)
    with pytest.raises(MissingRecordError):
        cellar.ledger.log(slug)
    with pytest.raises(MissingRecordError):
        cellar.ledger.log("nowhere", deleted=True)


def test_two_bottlings_of_one_code_are_both_shown(cellar):
    first = dry_batch(cellar)
    second = dry_batch(cellar)
    for slug in (first, second):
        bottled(cellar, slug, bottled="2031-06-01", batch="lane", profile="home")
    found = trace(cellar.ledger, CODE, UTC)
    assert [lot.slug for lot in found] == [second, first]
    assert all(lot.alcohol_words in lot.said[0].words for lot in found)


@pytest.mark.parametrize("code", ["L31152-LANE", "nothing"])
def test_an_unknown_code_says_what_was_asked(cellar, code):
    dry_batch(cellar)
    with pytest.raises(MissingRecordError, match=code):
        trace(cellar.ledger, code, UTC)


@pytest.mark.parametrize("code", ["", "  ", "x" * 81])
def test_a_code_that_can_be_none_is_refused(cellar, code):
    with pytest.raises(InputError):
        trace(cellar.ledger, code, UTC)
