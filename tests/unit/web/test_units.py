"""One system of units on every page, print and command, and the same figures in each of them."""

from __future__ import annotations

import re

import pytest
from starlette.testclient import TestClient

from batch_pages import Cellar, fields
from mustwright.cli.main import run
from mustwright.services.batch.worklist import due_today
from mustwright.services.records import save_sheet
from mustwright.services.units import chosen_for, keep_units, was_asked
from mustwright.unit_system import IMPERIAL, METRIC, US, choosing

SHEET = """
[must]
name = "Orchard"
volume = "5 US gal"
gravity = "1.100"
temperature = "65 F"
[[must.ingredient]]
kind = "clover honey"
amount = "solve"
[[must.ingredient]]
kind = "water"
amount = "fill"
[yeast]
kind = "low-demand neutral"
[shelf]
dap = true
autolysed_yeast = true
rehydration_nutrient = true
"""
METRIC_SHEET = SHEET.replace("5 US gal", "18.92705892 L").replace("65 F", "18.333333 C")
# What stays metric for everyone: concentrations, carbon dioxide, a price, a density.
STAYS = re.compile(
    r"kg/m³|L/h|per kg\b|(?:m?g|carbonate) per litre|Per litre|by the litre"
    r"|litres of carbon dioxide|[\d.]+\s+L of (?:CO2|gas)"
)
BARE_METRIC = re.compile(r"\d\s?(?:kg|L|mL|°C|C)(?![\w/])|°C|\blitres?\b|\bkilograms?\b")
WORKING = re.compile(r'<div class="how">.*?</div>', re.DOTALL)
SCALES = re.compile(r'<p class="hint".*?</p>|<select.*?</select>|<footer.*?</footer>', re.DOTALL)


def metric_words(html):
    """Amounts in metric units that a reader meets; working and choices of scales apart."""
    text = SCALES.sub(" ", WORKING.sub(" ", html))
    text = re.sub(r"<(?:script|style|head).*?</(?:script|style|head)>", " ", text, flags=re.DOTALL)
    text = STAYS.sub(" ", re.sub(r"<[^>]+>", " ", text))
    return [text[max(m.start() - 40, 0) : m.end() + 20] for m in BARE_METRIC.finditer(text)]


@pytest.fixture
def cellar(app):
    return Cellar(app.state.compose)


@pytest.fixture
def must(cellar):
    return save_sheet(cellar.compose.cellar, None, "Orchard", SHEET, None).key


@pytest.fixture
def batch(client, must):
    form = fields(client.get(f"/musts/{must}/start").text, f"/musts/{must}/start")
    client.post(f"/musts/{must}/start", data=form)
    return must


MUST_PAGES = ("/", "/musts/orchard", "/musts/orchard/compare", "/musts/orchard/what-if",
              "/musts/orchard/acidity")  # fmt: skip


@pytest.mark.thorough
def test_no_page_of_a_must_typed_in_us_units_says_litres_kilograms_or_celsius(client, must):
    keep_units(client.app.state.compose.ledger, None)
    for page in MUST_PAGES:
        answer = client.get(page)
        assert answer.status_code == 200, page
        assert metric_words(answer.text) == [], page
    plan = client.get(f"/musts/{must}").text
    assert "5 US gal" in plan
    assert re.search(r"\d+ lb \d+ oz", plan)
    assert "65 °F" in plan


def test_no_page_or_print_of_its_batch_says_them_either(client, batch, cellar):
    keep_units(cellar.ledger, None)
    for action, data in (
        ("reading", {"gravity": "1.080", "temperature": "84", "unit": "F"}),
        ("event", {"what": "sampled", "litres": "0.1", "volume_unit": "US gal"}),
    ):
        done = client.post(f"/batches/{batch}/{action}", data=data)
        assert done.status_code == 200, metric_words(done.text)
    for page in (f"/batches/{batch}", f"/batches/{batch}/paper", "/batches", "/",
                 f"/finish?batch={batch}", f"/finish/rack?batch={batch}&show=1"):  # fmt: skip
        answer = client.get(page)
        assert answer.status_code == 200, page
        assert metric_words(answer.text) == [], page


@pytest.mark.thorough
def test_the_choice_of_the_cellar_comes_before_what_was_typed(client, must, cellar):
    assert "Which units do you use?" in client.get("/").text
    assert not was_asked(cellar.ledger)
    for name, system, volume in (
        ("metric", METRIC, "18.93 L"),
        ("imperial", IMPERIAL, "4.16 imp gal"),
        ("us", US, "5 US gal"),
    ):
        client.post("/units", data={"units": name})
        assert chosen_for(cellar.ledger) == system
        assert volume in client.get(f"/musts/{must}").text
    assert "Which units do you use?" not in client.get("/").text
    client.post("/units", data={"units": "typed"})
    assert chosen_for(cellar.ledger) is None
    assert was_asked(cellar.ledger)


@pytest.mark.thorough
def test_a_person_chooses_before_the_cellar_and_for_nobody_else(client, must, batch, cellar):
    other = TestClient(client.app, str(client.base_url), headers=dict(client.headers))
    keep_units(cellar.ledger, METRIC)
    client.post("/units", data={"units": "us", "whose": "me"})
    assert chosen_for(cellar.ledger) == METRIC
    assert "Chosen here: US gallons" in client.get("/units").text
    for page in (*MUST_PAGES, "/batches", f"/batches/{batch}", f"/batches/{batch}/paper",
                 f"/finish/rack?batch={batch}&show=1"):  # fmt: skip
        assert metric_words(client.get(page).text) == [], page
    assert "5 US gal" in client.get(f"/musts/{must}").text
    assert "18.93 L" in other.get(f"/musts/{must}").text
    client.post("/units", data={"units": "imperial", "whose": "me"})
    assert "4.16 imp gal" in client.get(f"/musts/{must}").text
    client.post("/units", data={"units": "typed", "whose": "me"})
    assert "5 US gal" in client.get(f"/musts/{must}").text
    client.post("/units", data={"units": "cellar", "whose": "me"})
    assert "18.93 L" in client.get(f"/musts/{must}").text
    refused = client.post("/units", data={"units": "cubits", "whose": "me"})
    assert refused.status_code == 422
    assert "set-cookie" not in refused.headers


@pytest.mark.parametrize("cookie", ["cubits", "%22", "US%20gal", "", "a=b; ;"])
def test_a_cookie_that_says_nothing_counts_for_nothing(client, must, cellar, cookie):
    keep_units(cellar.ledger, IMPERIAL)
    headers = {"cookie": f"mustwright_units={cookie}"}
    assert "4.16 imp gal" in client.get(f"/musts/{must}", headers=headers).text


def test_the_list_says_nothing_in_units_that_were_not_chosen(cellar):
    """Where there is no time to work a batch out again, its sentence is left out."""
    cellar.start("Lane", None)
    ledger, now, zone = cellar.ledger, cellar.now, cellar.compose.local_zone
    with choosing(METRIC):
        said = [*due_today(ledger, now, zone).today, *due_today(ledger, now, zone).later]
    with choosing(US):
        found = due_today(ledger, now, zone, budget_s=-1.0)
        hasty = [*found.today, *found.later]
        patient = due_today(ledger, now, zone, budget_s=60.0)
    assert said[0].sentence != hasty[0].sentence == "Open it to see the next step."
    assert found.stale == 1
    assert [*patient.today, *patient.later][0].sentence != hasty[0].sentence


def test_each_unit_may_be_chosen_by_itself_and_nonsense_is_refused(client, cellar):
    own = {"units": "own", "volume": "L", "mass": "lb", "temperature": "F"}
    client.post("/units", data=own)
    assert chosen_for(cellar.ledger).key == "L/lb/F"
    assert client.post("/units", data={"units": "cubits"}).status_code == 422
    assert chosen_for(cellar.ledger).key == "L/lb/F"


@pytest.mark.thorough
def test_a_bare_number_in_a_field_is_read_in_the_chosen_unit_and_kept_with_it(client, cellar):
    keep_units(cellar.ledger, US)
    page = client.get("/musts/new").text
    assert "without a unit it is read as US gallons" in page
    form = fields(page, "/musts/new") | {"name": "Bare", "volume": "5", "target": "1.100",
                                         "shelf": "generic", "temperature": "65",
                                         "portion.0.kind": "clover honey"}  # fmt: skip
    answer = client.post("/musts/new", data=form)
    assert answer.status_code == 200
    text = cellar.compose.cellar.record("sheet", "bare").text
    assert 'volume = "5 US gal"' in text
    assert 'temperature = "65 F"' in text
    keep_units(cellar.ledger, METRIC)
    assert "18.93 L" in client.get("/musts/bare").text


@pytest.fixture
def sheet_file(tmp_path, monkeypatch):
    monkeypatch.setenv("MUSTWRIGHT_HOME", str(tmp_path / "home"))
    path = tmp_path / "orchard.toml"
    path.write_text(SHEET)
    return str(path)


@pytest.mark.parametrize("words", [("plan",), ("compare",), ("forecast", "--no-ph")])
def test_no_command_on_a_us_sheet_mixes_systems(sheet_file, capsys, words):
    more = () if words[0] == "forecast" else ("--no-forecast",)
    assert run([words[0], sheet_file, *words[1:], *more]) == 0
    assert metric_words(capsys.readouterr().out) == []


def test_a_command_says_amounts_as_asked(sheet_file, capsys):
    said = {}
    for units in ("metric", "us", "imperial"):
        assert run(["plan", sheet_file, "--no-forecast", "--units", units]) == 0
        said[units] = capsys.readouterr().out
    assert "18.93 L at gravity" in said["metric"]
    assert "18.3 °C" in said["metric"]
    assert "5 US gal at gravity" in said["us"]
    assert "65 °F" in said["us"]
    assert "4.16 imp gal at gravity" in said["imperial"]
    assert "18.3 °C" in said["imperial"]
    assert " lb " in said["imperial"]
    assert run(["plan", sheet_file, "--no-forecast"]) == 0
    assert capsys.readouterr().out == said["us"]


def test_a_person_may_choose_for_their_commands(sheet_file, capsys, monkeypatch):
    def said(*words: str) -> str:
        assert run(["plan", sheet_file, "--no-forecast", *words]) == 0
        return capsys.readouterr().out

    asked = said("--units", "metric")
    monkeypatch.setenv("MUSTWRIGHT_UNITS", "metric")
    assert said() == asked
    assert "5 US gal" in said("--units", "us")
    monkeypatch.setenv("MUSTWRIGHT_UNITS", "typed")
    assert "5 US gal" in said()
    monkeypatch.setenv("MUSTWRIGHT_UNITS", "cubits")
    assert run(["plan", sheet_file, "--no-forecast"]) == 2
    assert "MUSTWRIGHT_UNITS: needs one of metric, us, imperial, typed" in capsys.readouterr().err


def test_a_batch_has_the_same_figures_in_either_system(client, batch, cellar):
    ledger = cellar.ledger
    reading = {"gravity": "1.080", "temperature": "84", "unit": "F"}
    client.post(f"/batches/{batch}/reading", data=reading)
    seen = {}
    for system in (METRIC, US):
        keep_units(ledger, system)
        page = client.get(f"/batches/{batch}").text
        seen[system] = re.sub(r"<[^>]+>", " ", SCALES.sub(" ", page))
        due = client.get("/batches").text
        other = "°C" if system == US else "°F"
        assert other not in due
    assert "28.9 °C" in seen[METRIC]
    assert "84 °F" in seen[US]
    assert "°F" not in seen[METRIC]
    assert "18.93 L" in seen[METRIC]
    assert "5 US gal" in seen[US]
    us = client.get(f"/api/batches/{batch}").json()
    keep_units(ledger, METRIC)
    metric = client.get(f"/api/batches/{batch}").json()
    for part in ("state", "feeds"):
        assert metric[part] == us[part]


def test_the_commands_of_a_batch_say_it_in_one_system(client, batch, cellar, capsys, monkeypatch):
    ledger = cellar.ledger
    monkeypatch.setenv("MUSTWRIGHT_HOME", str(cellar.compose.home))
    reading = {"gravity": "1.080", "temperature": "84", "unit": "F"}
    client.post(f"/batches/{batch}/reading", data=reading)
    for words in (("batch", "show", batch), ("batch", "next", batch), ("batch", "list"),
                  ("batch", "watch", batch)):  # fmt: skip
        assert run(list(words)) == 0
        assert metric_words(capsys.readouterr().out) == [], words
        assert run([*words, "--units", "metric"]) == 0
        assert "°F" not in capsys.readouterr().out
    keep_units(ledger, METRIC)
    assert run(["batch", "show", batch]) == 0
    assert "18.93 L" in capsys.readouterr().out
