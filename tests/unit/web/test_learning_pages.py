"""Trials on the pages, looking back on a closed batch, two batches side by side, and the hub."""

from __future__ import annotations

import re
from datetime import UTC, datetime, time

import pytest
from icalendar import Calendar

from batch_pages import Cellar, fields, words
from batches import CLOVER
from closed import QUICK, SLOW, closed_batch
from mustwright.batch.calendar import calendar_text
from mustwright.learning import finished
from mustwright.services.batch.batch_view import look
from mustwright.services.looking_back import look_back
from mustwright.services.trials import trial, trials

NEW = {
    "name": "Two ways", "thing": "protocol", "must": "clover", "arm1": "front",
    "what1": "everything_at_pitch", "arm2": "staged", "what2": "thirds_on_days_0_2_4",
    "vessels": "4", "expected": "", "seed": "5",
}  # fmt: skip


@pytest.fixture
def cellar(app, monkeypatch):
    real = finished.summary_of
    monkeypatch.setattr(finished, "summary_of", lambda *a: real(*a, members=400))
    made = Cellar(app.state.compose)
    made.compose.cellar.save("sheet", None, CLOVER, None, "Clover")
    return made


def started(client, **more):
    page = client.post("/trials/new", data=NEW | more, follow_redirects=True)
    assert page.status_code == 200, words(page.text)
    return page


def kept(cellar):
    return trial(cellar.compose.notebook, "two-ways").trial


def test_a_layout_is_told_before_honey_is_bought(client, cellar):
    del cellar
    said = words(client.get("/trials/new").text)
    assert "With 4 vessels no difference, however large" in said
    assert "0.167" in said
    assert "Your own trials will show it" in said


def test_the_form_says_what_the_forecast_expects_and_starts_nothing(client, cellar):
    page = client.post("/trials/new", data=NEW | {"do": "expect"})
    assert page.status_code == 200
    said = words(page.text)
    assert "What the forecast expects" in said
    assert said.count("two thirds of the sugar gone in") == 2
    assert f'value="{NEW["name"]}"' in page.text
    assert trials(cellar.compose.notebook) == []


def test_a_trial_from_lot_to_answer(client, cellar):
    page = words(started(client).text)
    assert page.count("hidden") >= 4
    german = client.get("/trials/two-ways", headers={"Accept-Language": "de"}).text
    assert words(german).count("verdeckt") >= 4
    codes = [v.code for v in kept(cellar).vessels]
    labels = words(client.get("/trials/two-ways/labels").text)
    assert all(str(code) in labels for code in codes)
    assert "front" not in labels
    here = "/trials/two-ways"
    form = fields(client.get(here).text, f"{here}/judge")
    some = form | {f"score_{codes[0]}": "7", "measure": "score"}
    page = client.post(f"{here}/judge", data=some)
    assert page.status_code == 422
    assert "a value for every vessel" in words(page.text).lower()
    rest = {f"score_{code}": str(5 + k) for k, code in enumerate(codes[1:])}
    page = client.post(f"{here}/judge", data={"measure": "score"} | rest, follow_redirects=True)
    said = words(page.text)
    assert "With 4 vessels it cannot be told from chance" in said
    assert "The codes are open" in said


def test_the_vessels_of_a_trial_stand_where_a_print_has_them(client, cellar):
    """A print leaves forms out, and the table stood in one; its fields still go with the form."""
    del cellar
    page = started(client).text
    assert not any("<table" in form for form in re.findall(r"<form.*?</form>", page, re.S))
    scores = re.findall(r'<input [^>]*name="score_\d+"[^>]*>', page)
    assert len(scores) == 4
    assert all(' form="scores"' in one for one in scores)
    assert 'action="/trials/two-ways/judge" id="scores"' in page


def test_opening_early_has_to_be_ticked(client, cellar):
    started(client)
    page = client.post("/trials/two-ways/open", data={})
    assert page.status_code == 422
    assert "still missing" in words(page.text)
    assert not kept(cellar).is_open
    page = client.post("/trials/two-ways/open", data={"early": "1"}, follow_redirects=True)
    assert "opened early" in words(page.text)


def test_vessels_side_by_side_show_no_arm_while_blind(client, cellar):
    started(client)
    for vessel in kept(cellar).vessels:
        cellar.event(vessel.batch, 0, "pitched")
    cellar.pass_hours(60)
    for vessel in kept(cellar).vessels:
        cellar.read(vessel.batch, 1, 1.09 if vessel.arm == 1 else 1.07)
        cellar.read(vessel.batch, 30, 1.095)
    page = client.get("/trials/two-ways").text
    assert page.count("curve c3") >= 4
    behind = page[page.index('<table class="values">') :].partition("</table>")[0]
    assert behind.count("<td>1.070</td>") == behind.count("<td>1.090</td>") == 2
    assert "data-axis" in page
    assert "curve c1" not in page
    client.post("/trials/two-ways/open", data={"early": "1"})
    page = client.get("/trials/two-ways").text
    assert "curve c1" in page
    assert "curve c2" in page


def test_what_cannot_be_used_is_said_at_its_field(client, cellar):
    for more, message in (
        ({"vessels": "5"}, "a multiple of 2"),
        ({"what2": "everything_at_pitch"}, "another protocol for each arm"),
        ({"arm2": ""}, "a name of its own"),
        ({"must": "nowhere"}, "named 'nowhere'"),
    ):
        page = client.post("/trials/new", data=NEW | more)
        assert page.status_code == 422, more
        assert message in words(page.text).lower(), more
    assert cellar.ledger.batches() == []


def test_looking_back(client, cellar):
    slug = closed_batch(cellar, "Slow one", SLOW)
    assert "Look back on it" in words(client.get(f"/batches/{slug}").text)
    page = client.get(f"/batches/{slug}/back")
    said = words(page.text)
    assert "not been compared" in said
    page = client.post(f"/batches/{slug}/back/learn", data={}, follow_redirects=True)
    said = words(page.text)
    assert "Two thirds of the sugar were gone after" in said
    assert "of 1 batch" in said
    assert "Planned and done" in said
    assert "mg N/L" in said
    assert "12 months" in said


def test_words_for_next_time_are_kept_and_not_written_over(client, cellar):
    slug = closed_batch(cellar, "Slow one")
    here = f"/batches/{slug}/back"
    form = fields(client.get(here).text, f"{here}/words")
    client.post(f"{here}/words", data=form | {"next_time": "Feed earlier."})
    page = client.get(here).text
    assert "Feed earlier." in page
    stale = client.post(f"{here}/words", data=form | {"next_time": "Never mind."})
    assert stale.status_code == 409
    again = fields(page, f"{here}/words")
    client.post(f"{here}/words", data=again | {"next_time": "Warmer."})
    assert "Warmer." in client.get(here).text


def test_a_mead_is_due_to_be_tasted_after_a_month(client, cellar):
    slug = closed_batch(cellar, "Slow one")
    cellar.pass_hours(24 * 20)
    assert "Taste it now" not in words(client.get(f"/batches/{slug}/back").text)
    cellar.pass_hours(24 * 20)
    assert "Taste it now : 1 month" in words(client.get(f"/batches/{slug}/back").text)
    due = look_back(cellar.ledger, cellar.compose.notebook, slug, cellar.now).due
    assert [d.is_due for d in due] == [True, False, False, False]


def test_tasting_dates_are_in_the_calendar_of_a_closed_batch(cellar):
    slug = closed_batch(cellar, "Slow one")
    made = Calendar.from_ical(
        calendar_text([look(cellar.ledger, slug, cellar.now, UTC)], "Slow one", UTC)
    )
    found = {str(e["uid"]).split("@")[0]: e.decoded("dtstart") for e in made.walk("VEVENT")}
    due = look_back(cellar.ledger, cellar.compose.notebook, slug, cellar.now).due
    told = {d.months: datetime.combine(d.at.date(), time(18), UTC) for d in due}
    assert {n: found[f"{slug}-taste-{n}"] for n in (1, 3, 6, 12)} == told


def test_what_it_cost_counts_the_feeds_as_given(client, cellar):
    slug = closed_batch(cellar, "Slow one")
    back = look_back(cellar.ledger, cellar.compose.notebook, slug, cellar.now)
    assert back.cost
    assert back.cost in words(client.get(f"/batches/{slug}/back").text)


def test_the_must_becomes_the_start_of_the_next(client, cellar):
    slug = closed_batch(cellar, "Slow one")
    page = client.post(f"/batches/{slug}/copy", data={}, follow_redirects=True)
    assert page.status_code == 200
    assert "Slow one, again" in [r.name for r in cellar.compose.cellar.records("sheet")]


def test_two_batches_side_by_side(client, cellar):
    a, b = closed_batch(cellar, "Slow one", SLOW), closed_batch(cellar, "Quick one", QUICK, 700)
    page = client.get(f"/batches/{a}/beside?other={b}")
    said = words(page.text)
    assert "Slow one: two thirds of the sugar gone after" in said
    assert "must split at random" in said
    assert page.text.count("curve c1") == page.text.count("curve c2") == 3  # two widths and a key
    assert "<td>1.099</td>" in page.text
    assert "<td>1.088</td>" in page.text
    assert client.get(f"/batches/{a}/beside?other={a}").status_code == 422
    assert client.get(f"/batches/{a}/beside?other=nobody").status_code == 404


def test_a_running_batch_is_not_looked_back_on(client, cellar):
    slug = cellar.start("Running", 24).slug
    page = client.get(f"/batches/{slug}/back", follow_redirects=False)
    assert page.headers["location"] == f"/batches/{slug}"
    assert "Look back" not in client.get(f"/batches/{slug}").text


def test_the_hub_leads_everywhere(client, cellar):
    slug = closed_batch(cellar, "Slow one")
    started(client)
    page = client.get("/learn").text
    for address in ("/trials/two-ways", f"/batches/{slug}/back", "/house", "/tastings/new"):
        assert f'href="{address}"' in page
        assert client.get(address).status_code == 200
    assert 'href="/learn"' in client.get("/").text
