"""Corrections, deletions, undo and re-plans: every word is kept, and nobody is written over."""

from __future__ import annotations

from datetime import timedelta

import pytest

from batch_pages import Cellar, fields, words
from mustwright.batch.entries import Correction, Event, FeedGiven, Note, Reading
from mustwright.batch.log import plan_in_force, plans, standing
from mustwright.services.batch.record import write


@pytest.fixture
def cellar(app):
    return Cellar(app.state.compose)


@pytest.fixture
def slug(cellar):
    return cellar.start("Heather", 30).slug


def stand(cellar, slug, id):
    return next(s for s in standing(cellar.ledger.log(slug)) if s.entry.id == id)


def opened(client, slug, id):
    page = client.get(f"/batches/{slug}/entries/{id}")
    assert page.status_code == 200, page.text
    return fields(page.text, f"/batches/{slug}/entries/{id}")


@pytest.mark.parametrize(
    "what",
    [
        Reading(gravity=1.0625, temperature_c=20.123, ph=3.456, sample_c=24.0, note="a & b"),
        Reading(brix=15.12345, instrument="refractometer", sample_c=18.0),
        Reading(brix=15.5),
        Reading(ph=3.5, ph_by="strip"),
        Reading(gravity=1.06, instrument="sensor", calibration_c=15.6),
        Event("moved", 15.5556, None, "cellar"),
        Event("honey_in", None, 1.23456),
        Note("two\nlines <b>"),
    ],
)
@pytest.mark.parametrize("unit", ["C", "F"])
def test_an_untouched_form_changes_nothing(client, cellar, slug, what, unit, monkeypatch):
    monkeypatch.setattr("mustwright.web.pages.batch.entry.temperature_unit", lambda _: unit)
    at = cellar.now - timedelta(hours=2, seconds=17)
    id = write(cellar.ledger, slug, what, at=at).id
    before = cellar.ledger.batch(slug).version
    answer = client.post(f"/batches/{slug}/entries/{id}", data=opened(client, slug, id))
    assert answer.status_code == 200, words(answer.text)
    assert cellar.ledger.batch(slug).version == before
    assert stand(cellar, slug, id).what == what


def test_a_correction_keeps_what_was_said_before_with_who_and_when(client, cellar, slug):
    id = cellar.read(slug, 2, 1.068, temperature_c=20.123, ph=3.5).id
    form = opened(client, slug, id) | {"gravity": "1.086", "note": "misread"}
    page = client.post(f"/batches/{slug}/entries/{id}", data=form)
    now = stand(cellar, slug, id)
    assert now.what == Reading(gravity=1.086, temperature_c=20.123, ph=3.5, note="misread")
    assert now.at == cellar.now - timedelta(hours=2)
    said = words(page.text)
    assert "Corrected by you, Sun 4 May 18:00 before: 1.068, must 20.12 °C, pH 3.5" in said
    assert "after: 1.086, must 20.12 °C, pH 3.5, misread" in said


def test_time_instrument_event_note_and_feed_are_corrected(client, cellar, slug):
    read = write(cellar.ledger, slug, Reading(brix=15.0), at=cellar.now).id
    client.post(f"/batches/{slug}/entries/{read}",
                data=opened(client, slug, read) | {"instrument": "refractometer"})  # fmt: skip
    assert stand(cellar, slug, read).what == Reading(brix=15.0, instrument="refractometer")
    event = cellar.event(slug, 3, "stirred").id
    client.post(f"/batches/{slug}/entries/{event}",
                data=opened(client, slug, event) | {"what": "racked", "litres": "18",
                                                    "at": "2031-05-04T12:00"})  # fmt: skip
    assert stand(cellar, slug, event).what == Event("racked", None, 18.0)
    assert stand(cellar, slug, event).at == cellar.now - timedelta(hours=6)
    feed = cellar.feed(slug, 4, "f2").id
    was = stand(cellar, slug, feed).what.items
    form = opened(client, slug, feed)
    client.post(f"/batches/{slug}/entries/{feed}", data=form | {"grams-dap": "2"})
    now = {i.nutrient: i.grams for i in stand(cellar, slug, feed).what.items}
    assert now == {i.nutrient: i.grams for i in was} | {"dap": 2.0}
    refused = client.post(f"/batches/{slug}/entries/{read}",
                          data=opened(client, slug, read) | {"gravity": "sweet"})  # fmt: skip
    assert refused.status_code == 422
    assert 'id="entry-gravity-wrong"' in refused.text
    assert "sweet" in refused.text


def test_what_is_deleted_stays_in_the_log_and_is_brought_back(client, cellar, slug):
    id = cellar.read(slug, 2, 1.090).id
    here = f"/batches/{slug}"
    page = client.get(here).text
    page = client.post(f"{here}/entries/{id}/delete",
                       data=fields(page, f"{here}/entries/{id}/delete")).text  # fmt: skip
    assert stand(cellar, slug, id).removed
    assert "deleted" in words(page)
    assert "1.090" in words(page)
    page = client.post(f"{here}/entries/{id}/restore",
                       data=fields(page, f"{here}/entries/{id}/restore")).text  # fmt: skip
    assert not stand(cellar, slug, id).removed
    assert "Brought back by you" in words(page)
    assert len(cellar.ledger.log(slug)) == 5


def test_undo_takes_the_latest_line_back_and_only_the_one_that_was_shown(client, cellar, slug):
    id = cellar.read(slug, 2, 1.090).id
    here = f"/batches/{slug}"
    client.post(f"{here}/entries/{id}", data=opened(client, slug, id) | {"gravity": "1.080"})
    page = client.get(here).text
    form = fields(page, f"{here}/undo")
    assert "the correction of Read: 1.080" in words(page)
    cellar.read(slug, 0, 1.079)
    late = client.post(f"{here}/undo", data=form)
    assert late.status_code == 409
    assert stand(cellar, slug, id).what.gravity == 1.080
    for _ in range(2):
        client.post(f"{here}/undo", data=fields(client.get(here).text, f"{here}/undo"))
    assert stand(cellar, slug, id).what.gravity == 1.090
    assert isinstance(cellar.ledger.log(slug)[-1].what, Correction)
    for _ in range(2):
        client.post(f"{here}/undo", data=fields(client.get(here).text, f"{here}/undo"))
    assert "/undo" not in client.get(here).text
    assert plan_in_force(standing(cellar.ledger.log(slug))) is not None


def test_two_browsers_that_correct_one_entry_are_both_shown(client, cellar, slug):
    id = cellar.read(slug, 2, 1.090).id
    here = f"/batches/{slug}/entries/{id}"
    mine, theirs = opened(client, slug, id), opened(client, slug, id)
    client.post(here, data=theirs | {"gravity": "1.085"})
    answer = client.post(here, data=mine | {"gravity": "1.080", "note": "mine"})
    assert answer.status_code == 409
    assert "There it now says Read: 1.085" in words(answer.text)
    assert stand(cellar, slug, id).what.gravity == 1.085
    form = fields(answer.text, here)
    assert (form["gravity"], form["note"]) == ("1.080", "mine")
    client.post(here, data=form)
    assert stand(cellar, slug, id).what == Reading(gravity=1.080, note="mine")
    assert len(stand(cellar, slug, id).changes) == 2


def test_after_a_conflict_fields_left_alone_hold_what_the_other_wrote(client, cellar, slug):
    id = cellar.read(slug, 2, 1.090, temperature_c=20.0).id
    here = f"/batches/{slug}/entries/{id}"
    mine, theirs = opened(client, slug, id), opened(client, slug, id)
    client.post(here, data=theirs | {"temperature": "25"})
    answer = client.post(here, data=mine | {"gravity": "1.080"})
    assert answer.status_code == 409
    client.post(here, data=fields(answer.text, here))
    now = stand(cellar, slug, id).what
    assert now.gravity == 1.080
    assert now.temperature_c == 25.0


def test_a_deletion_of_what_was_changed_meanwhile_shows_both(client, cellar, slug):
    id = cellar.read(slug, 2, 1.090).id
    here = f"/batches/{slug}"
    page = client.get(here).text
    client.post(f"{here}/entries/{id}", data=opened(client, slug, id) | {"gravity": "1.085"})
    answer = client.post(f"{here}/entries/{id}/delete",
                         data=fields(page, f"{here}/entries/{id}/delete"))  # fmt: skip
    assert answer.status_code == 409
    said = words(answer.text)
    assert "You wanted to delete it" in said
    assert "before: 1.090" in said
    assert "after: 1.085" in said
    assert not stand(cellar, slug, id).removed


def test_two_browsers_may_both_write_new_entries(client, cellar, slug):
    action = f"/batches/{slug}/reading"
    one, two = (fields(client.get(f"/batches/{slug}").text, action) for _ in range(2))
    client.post(action, data=one | {"gravity": "1.100"})
    client.post(action, data=two | {"gravity": "1.099"})
    read = [e.what.gravity for e in cellar.ledger.log(slug) if isinstance(e.what, Reading)]
    assert read == [1.100, 1.099]


# Re-plan --------------------------------------------------------------------------------------


def test_a_replan_is_shown_before_and_after_and_adopted_on_consent(client, cellar):
    slug = cellar.ahead()
    here = f"/batches/{slug}"
    live = client.get(here).text
    assert "See what would change" in words(live)
    page = client.get(f"{here}/replan").text
    assert "of the sugar is gone" in words(page)
    assert page.count("<dt>Before</dt>") == page.count("<dt>After</dt>") > 0
    client.post(f"{here}/replan", data=fields(page, f"{here}/replan"))
    log = standing(cellar.ledger.log(slug))
    assert [s.what.plan.number for s in plans(log)] == [1, 2]
    after = words(client.get(f"{here}/replan").text)
    assert "The plan still fits what was read." in after
    assert "Plan 1" in after
    assert "Plan 2" in after
    undone = client.post(f"{here}/undo", data=fields(client.get(here).text, f"{here}/undo"))
    assert undone.status_code == 200
    assert plan_in_force(standing(cellar.ledger.log(slug))).number == 1


def test_only_the_proposal_that_was_shown_is_adopted(client, cellar):
    slug = cellar.ahead()
    here = f"/batches/{slug}/replan"
    form = fields(client.get(here).text, here)
    write(cellar.ledger, slug, FeedGiven((), "f2", True), at=cellar.now)
    answer = client.post(here, data=form)
    assert answer.status_code == 409
    assert "look at it again" in words(answer.text)
    assert len(plans(standing(cellar.ledger.log(slug)))) == 1
    form = fields(answer.text, here)
    assert client.post(here, data=form).url.path == f"/batches/{slug}"
    again = client.post(here, data=form)
    assert again.status_code == 409
    assert len(plans(standing(cellar.ledger.log(slug)))) == 2


def test_nothing_is_replanned_where_the_plan_fits(client, slug):
    answer = client.post(f"/batches/{slug}/replan", data={"seen": "2", "agreed": "x"})
    assert answer.status_code == 422
    assert client.post(f"/batches/{slug}/replan", data={}).status_code == 422


@pytest.mark.parametrize("path", ["entries/none", "entries/none/delete", "entries/none/restore"])
def test_what_is_not_there_is_said_so(client, cellar, slug, path):
    assert client.post(f"/batches/{slug}/{path}", data={"seen": "2"}).status_code == 404
    first = cellar.ledger.log(slug)[0].id
    assert client.get(f"/batches/{slug}/entries/{first}").status_code == 422
    assert client.post(f"/batches/{slug}/entries/{first}/delete",
                       data={"seen": "2"}).status_code == 422  # fmt: skip
