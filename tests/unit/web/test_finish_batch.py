"""The bench for a batch, without JavaScript: filled from its log, written into it."""

from __future__ import annotations

import html
import json
import re
from dataclasses import replace
from datetime import UTC
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest
from starlette.testclient import TestClient

from batch_pages import Cellar, fields, unlinked, words
from finished import dry_batch
from mustwright.batch.entries import what_data
from mustwright.bench.batch_start import start_from
from mustwright.bench.step_table import STEPS
from mustwright.cli.main import run
from mustwright.compose import Compose
from mustwright.services.batch.batch_view import look
from mustwright.services.batch.record import undo
from mustwright.web.pages.batch_options import worked_again

ORIGIN = "http://127.0.0.1:8765"


@pytest.fixture
def site(app):
    cellar = Cellar(app.state.compose)
    slug = dry_batch(cellar)
    client = TestClient(app, base_url=ORIGIN, headers={"Origin": ORIGIN})
    return client, cellar, slug


def held(cellar, slug="lane"):
    return start_from(look(cellar.ledger, slug, cellar.now, UTC), UTC).held


def record(client, address: str, **typed: str):
    """Press the button of a page, with other amounts where typed."""
    page = client.get(address)
    assert page.status_code == 200, page.text
    slug = urlsplit(address).path.rpartition("/")[2]
    form = fields(page.text, f"/finish/{slug}/record")
    return client.post(f"/finish/{slug}/record", data={**form, **typed})


# By step: its page, and what is typed beside the batch's own numbers.
ASKED = {
    "stable": ("stable", {"residual_sugar": "1.2 g/L"}),
    "rack": ("rack", {"vessel": "18.5 L", "top_up": "water"}),
    "sulfite": ("sulfite", {"ph": "3.6"}),
    "sorbate": ("sorbate", {"molecular": "0.8"}),
    "sweeten": ("sweeten", {"to": "1.010", "stabilised": "pasteurised"}),
    "acid": ("acid", {"with": "malic", "acidity": "4.5 g/L", "to_acidity": "5.5 g/L"}),
    "tannin": ("acid", {"with": "tannin"}),
    "fruit": ("late", {"what": "fruit", "with": "raspberry", "amount": "2 kg"}),
    "spice": ("late", {"what": "spice", "with": "vanilla", "dose": "1 g/L"}),
    "blend": ("blend", {
        "lot.1.batch": "lane", "lot.2.name": "water", "lot.2.volume": "3 L", "lot.2.alcohol": "0 %",
        "lot.2.gravity": "1", "target.alcohol": "13 %", "volume": "15 L",
    }),
    "carbonate": ("carbonate", {"co2_volumes": "2.5", "fermentable": "1 g/L", "profile": "home"}),
    "bottle": ("bottle", {"size": "750 mL x 10\n375 mL"}),
}  # fmt: skip


@pytest.mark.parametrize("step", STEPS)
def test_page_json_and_command_do_the_same_to_a_batch(site, step, capsys, monkeypatch):
    """The same figures, sentence and line of the log, from the numbers of the same batch."""
    client, cellar, slug = site
    monkeypatch.setattr(Compose, "from_environment", lambda: cellar.compose)
    monkeypatch.setattr(Compose, "close", lambda _self: None)
    page, typed = ASKED[step]
    address = f"/finish/{page}?{urlencode({**typed, 'batch': slug})}"
    command = [*typed_words(step, typed), "--batch", slug]
    told = unlinked(client.get(address).text)
    assert run(command) == 0
    head, *_ = capsys.readouterr().out.partition("\n\n")
    assert run([*command, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert head.startswith("From Lane: ")
    assert [plain for plain in data["doubts"] if plain not in words(told)] == []
    bare = words(re.sub(r"</?a\b[^>]*>", "", told))
    for line in (*data["steps"], *data["notes"], *data["cautions"]):
        assert words(re.sub(r"finish (\w+)", r"the \1 step", line)) in bare, line
    used = {"grams.1": "2 g"} if step == "tannin" else {}
    assert record(client, address, **used).status_code == 200
    by_page = cellar.ledger.log(slug)[-1]
    undo(cellar.ledger, slug, now=cellar.now)
    used_words = [word for k, v in used.items() for word in ("--used", f"{k}={v}")]
    assert run([*command, "--record", *used_words, "--json"]) == 0
    entry = json.loads(capsys.readouterr().out)["entry"]["content"]
    by_form = replace(by_page.what, sent_as="")
    assert json.loads(json.dumps(what_data(by_form))) == entry
    assert f'<p class="big">{entry["said"]}</p>' in html.unescape(told)
    address = worked_again(by_page.what)
    assert (address == "") == (step == "blend")
    if address:  # the same answer from the fields that the log keeps
        assert f'<p class="big">{entry["said"]}</p>' in html.unescape(
            unlinked(client.get(address).text)
        )


def typed_words(step, typed):
    """What is typed into the form, as the words of a command."""
    found, lots = ["finish", step], {}
    for name, text in typed.items():
        if name == "what" or (step == "tannin" and name == "with"):
            continue
        if name.startswith("lot."):
            lots.setdefault(name[4], []).append(f"{name[6:]}={text}")
        elif name.startswith("target."):
            found += ["--target", f"{name[7:]}={text}"]
        else:
            for part in text.split("\n"):
                found += [f"--{name.replace('_', '-')}", part]
    for parts in lots.values():
        found += ["--lot", ", ".join(parts)]
    return found


def test_the_page_of_a_dry_batch_leads_to_the_step_that_is_due(site):
    client, _, slug = site
    page = client.get(f"/batches/{slug}").text
    assert f'href="/finish/rack?batch={slug}"' in page
    assert f'href="/finish?batch={slug}"' in page
    bench = client.get(f"/finish?batch={slug}").text
    assert "Finish Lane" in bench
    assert "19.00 L" in bench
    assert "By the plan" not in bench
    assert f'href="/finish/sulfite?batch={slug}"' in bench


def test_a_form_is_filled_by_the_batch_and_typed_values_stand_above_it(site):
    client, cellar, slug = site
    page = client.get(f"/finish/sulfite?batch={slug}").text
    assert 'name="volume" value="19 L"' in page
    assert "Add " in page
    assert "Typed over them" not in page
    form = fields(page, "/finish/sulfite")
    answer = client.get("/finish/sulfite", params={**form, "ph": "3.7", "show": "1"})
    kept = parse_qs(urlsplit(str(answer.url)).query)
    assert kept == {"ph": ["3.7"], "batch": [slug], "show": ["1"]}
    assert "Typed over them: pH, measured (the batch has 3.5)" in words(answer.text)
    cellar.read(slug, 0, 0.991, ph=3.3)
    assert 'value="3.7"' in client.get(answer.url).text
    fresh = client.get(f"/finish/sulfite?batch={slug}").text
    assert 'name="ph" value="3.3"' in fresh


def test_a_field_can_be_emptied_and_stays_empty(site):
    client, _, slug = site
    form = fields(client.get(f"/finish/stable?batch={slug}").text, "/finish/stable")
    answer = client.get("/finish/stable", params={**form, "tolerance": "", "show": "1"})
    assert "tolerance=" in str(answer.url)
    assert 'name="tolerance" value=""' in answer.text
    assert "past what this yeast" not in words(answer.text)


def test_done_is_written_with_what_was_used_and_undone_again(site):
    client, cellar, slug = site
    answer = record(client, f"/finish/sulfite?batch={slug}", **{"grams.1": "0.7", "note": "cold"})
    assert urlsplit(str(answer.url)).path == f"/batches/{slug}"
    said = words(answer.text)
    assert "Written down. Sulfite added: 0.7 g of potassium metabisulfite" in said
    assert "cold" in said
    assert held(cellar).total_so2_mg_l == pytest.approx(1000 * 0.7 * 0.5763 / 19, rel=1e-3)
    assert "What it was worked out from" in answer.text
    again = re.search(r'href="([^"]*)">Work it out again', answer.text)
    assert again
    assert "Add " in client.get(again[1].replace("&amp;", "&")).text
    undo = fields(answer.text, f"/batches/{slug}/undo")
    client.post(f"/batches/{slug}/undo", data=undo)
    assert held(cellar).total_so2_mg_l is None


def test_a_second_tap_writes_nothing_and_a_plan_of_it_neither(site):
    client, cellar, slug = site
    page = client.get(f"/finish/sulfite?batch={slug}").text
    form = fields(page, "/finish/sulfite/record")
    version = cellar.ledger.batch(slug).version
    assert client.post("/finish/sulfite/record", data=form).status_code == 200
    cellar.pass_hours(0.01)
    assert client.post("/finish/sulfite/record", data=form).status_code == 200
    assert cellar.ledger.batch(slug).version == version + 1


@pytest.mark.parametrize(
    "other",
    [
        {"grams.1": "0.9 g"},
        {"grams.1": ""},
        {"note": "warm"},
        {"at": "2031-05-01T10:00"},
        {"over": "ph"},
        {"asked": "ph"},
    ],
)
def test_a_step_sent_again_with_other_content_is_a_conflict(site, other):
    """Of everything that the form says: amounts, time, note, and what it was worked out from."""
    client, cellar, slug = site
    page = client.get(f"/finish/sulfite?batch={slug}").text
    form = fields(page, "/finish/sulfite/record") | {"grams.1": "0.7 g", "note": "cold"}
    assert client.post("/finish/sulfite/record", data=form).status_code == 200
    log = cellar.ledger.log(slug)
    if "asked" in other:
        other = {"asked": re.sub(r"\bph=[0-9.]+", "ph=3.7", form["asked"])}
        assert other["asked"] != form["asked"]
    answer = client.post("/finish/sulfite/record", data=form | other)
    assert answer.status_code == 409
    assert "This form was already sent" in words(answer.text)
    assert cellar.ledger.log(slug) == log
    assert client.post("/finish/sulfite/record", data=form).status_code == 200
    assert cellar.ledger.log(slug) == log
    again = fields(answer.text, "/finish/sulfite/record")
    assert again["id"] != form["id"]  # sent once more it is meant as a step of its own


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ({"grams.1": "much"}, "What came: much"),
        ({"grams.1": "99 g"}, "eeds a second look"),
        ({"at": "2040-01-01T10:00"}, "is not ahead"),
    ],
)
def test_bad_input_is_said_beside_its_field_and_nothing_is_lost_or_written(site, typed, message):
    client, cellar, slug = site
    version = cellar.ledger.batch(slug).version
    answer = record(client, f"/finish/sulfite?batch={slug}", note="keep me", **typed)
    assert answer.status_code == 422
    assert message in answer.text
    assert "Nothing was written" in answer.text
    form = fields(answer.text, "/finish/sulfite/record")
    assert form["note"] == "keep me"
    assert form.items() >= typed.items()
    assert cellar.ledger.batch(slug).version == version


def test_an_amount_that_is_hardly_so_is_ticked_once_and_then_written(site):
    client, cellar, slug = site
    asked = record(client, f"/finish/sulfite?batch={slug}", **{"grams.1": "200 g"})
    assert asked.status_code == 422
    assert "The amount is right" in asked.text
    answer = record(client, f"/finish/sulfite?batch={slug}", **{"grams.1": "200 g", "sure": "yes"})
    assert answer.status_code == 200
    assert "200 g of potassium metabisulfite" in answer.text
    assert "More total sulfur dioxide than the law allows" in answer.text
    assert cellar.ledger.log(slug)[-1].what.added[0].grams == 200


def test_nothing_can_be_written_of_a_refused_step(site):
    client, cellar, slug = site
    version = cellar.ledger.batch(slug).version
    page = client.get(f"/finish/sweeten?batch={slug}&to=1.010&show=1").text
    assert "This cannot be recorded as done" in page
    assert "/finish/sweeten/record" not in page
    asked = f"batch={slug}&to=1.010&show=1"
    answer = client.post("/finish/sweeten/record", data={"asked": asked, "id": "x"})
    assert answer.status_code == 422
    assert cellar.ledger.batch(slug).version == version


@pytest.mark.parametrize("asked", ["", "batch=nobody", "volume=19+L"])
def test_a_step_for_no_batch_is_not_found(site, asked):
    client, _, _ = site
    assert client.post("/finish/rack/record", data={"asked": asked}).status_code == 404
    assert client.post("/finish/dance/record", data={"asked": asked}).status_code == 404


def test_sorbate_then_allows_sweetening_and_bottling_closes(site):
    client, cellar, slug = site
    record(client, f"/finish/rack?batch={slug}")
    cellar.pass_hours(1)
    record(client, f"/finish/sulfite?batch={slug}")
    cellar.pass_hours(1)
    record(client, f"/finish/sorbate?batch={slug}")
    cellar.pass_hours(1)
    page = client.get(f"/finish/sweeten?batch={slug}&to=1.010&show=1").text
    assert "Done: record it in the batch" in page
    answer = record(client, f"/finish/sweeten?batch={slug}&to=1.010&show=1")
    assert "Sweetened" in answer.text
    cellar.pass_hours(1)
    bottles = client.get(f"/finish/bottle?batch={slug}").text
    assert f'value="{ORIGIN}/batches/{slug}"' in bottles
    assert "L31124-LANE" in bottles
    labels = client.get(f"/finish/bottle/labels.pdf?batch={slug}")
    assert labels.status_code == 200
    refused = client.get(f"/finish/bottle?batch={slug}&show=1").text
    assert "needs a steady gravity" in refused  # sweetened an hour ago
    assert "Done: record it in the batch" not in refused
    answer = record(client, f"/finish/bottle?batch={slug}&stabilised=pasteurised")
    assert "This batch is closed." in answer.text
    assert "yeast stopped by: pasteurised" in answer.text


def test_a_recorded_step_is_corrected_deleted_and_brought_back(site):
    client, cellar, slug = site
    record(client, f"/finish/sulfite?batch={slug}")
    entry = cellar.ledger.log(slug)[-1]
    whole = held(cellar).total_so2_mg_l
    here = f"/batches/{slug}/entries/{entry.id}"
    page = client.get(here).text
    form = fields(page, here)
    assert form["used.1"].endswith(" g")
    client.post(here, data={**form, "used.1": "0.35 g"})
    assert held(cellar).total_so2_mg_l == pytest.approx(1000 * 0.35 * 0.5763 / 19, rel=1e-3)
    wrong = client.post(here, data={**fields(client.get(here).text, here), "used.1": "x"})
    assert wrong.status_code == 422
    assert "entry-used.1" in wrong.text
    seen = {"seen": str(cellar.ledger.batch(slug).version)}
    client.post(f"{here}/delete", data=seen)
    assert held(cellar).total_so2_mg_l is None
    seen = {"seen": str(cellar.ledger.batch(slug).version)}
    client.post(f"{here}/restore", data=seen)
    assert 0 < held(cellar).total_so2_mg_l < whole


def test_a_blend_offers_batches_and_draws_from_them(site):
    client, cellar, slug = site
    other = dry_batch(cellar, "Second")
    page = client.get(f"/finish/blend?batch={slug}").text
    assert f'<option value="{other}">Second</option>' in page
    query = f"batch={slug}&lot.1.batch={slug}&lot.2.batch={other}&target.alcohol=14.5+%25"
    address = f"/finish/blend?{query}&volume=20+L&show=1"
    answer = record(client, address, **{"litres.1": "15", "litres.2": "5"})
    assert answer.status_code == 200, answer.text
    assert held(cellar).volume_l == pytest.approx(20, abs=0.02)
    assert held(cellar, other).volume_l == pytest.approx(14)
    assert "into Lane" in words(client.get(f"/batches/{other}").text)


def test_a_tick_of_the_batch_can_be_taken_off(site):
    client, cellar, _ = site
    young = cellar.start("Young", 40).slug
    cellar.read(young, 1, 1.080, temperature_c=20.0, ph=3.5)
    page = client.get(f"/finish/sorbate?batch={young}").text
    assert 'name="fermenting" value="yes" checked' in page
    assert "Done: record it" not in page
    form = fields(page, "/finish/sorbate")
    answer = client.get("/finish/sorbate", params={**form, "show": "1"})  # no tick is sent
    assert 'name="fermenting" value="yes" checked' not in answer.text
    assert "Done: record it" in answer.text


def test_words_that_are_no_batch_stay_words(site):
    client, _, _ = site
    page = client.get("/finish/bottle?volume=19+L&batch=dry+lane&alcohol=12+%25").text
    assert "DRYLANE" in page
    assert "Done: record it" not in page


def test_a_lot_code_has_a_page_that_the_batch_links_to(site):
    client, _, slug = site
    record(client, f"/finish/bottle?batch={slug}")
    assert 'href="/lots/L31124-LANE"' in client.get(f"/batches/{slug}").text
    page = client.get("/lots/l31124-lane")
    assert page.status_code == 200
    for text in ("Lot L31124-LANE", "low-demand neutral", "750 mL"):
        assert text in unlinked(page.text)
    place = re.search(rf'href="(/batches/{slug}\?log=all)#(e-[^"]+)"', page.text)
    assert f'id="{place[2]}"' in client.get(place[1]).text
    version = re.search(r'name="version" value="(\d+)"', client.get(f"/batches/{slug}").text)[1]
    client.post(f"/batches/{slug}/delete", data={"version": version})
    after = client.get("/lots/L31124-LANE").text
    assert "This batch was deleted" in after
    assert f'href="/batches/{slug}' not in after
    client.post(f"/batches/{slug}/restore")
    assert "This batch was deleted" not in client.get("/lots/L31124-LANE").text
    gone = client.get("/lots/L99001-NOBODY")
    assert gone.status_code == 404
    assert "L99001-NOBODY" in gone.text
    assert client.get(f"/lots/{'x' * 90}").status_code == 422
