"""One scale of gravities on every page, picture, print and command, with the same figures."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

import product_text
from batch_pages import Cellar, fields, words
from databases import new_file
from mustwright.cli.main import run
from mustwright.compose import Compose
from mustwright.services.records import save_sheet
from mustwright.services.units import chosen_for, keep_units
from mustwright.unit_system import METRIC, UnitSystem, choosing
from mustwright.web.app import create_app

ORIGIN = "http://127.0.0.1:8765"
BRIX, PLATO = UnitSystem(gravity="Brix"), UnitSystem(gravity="Plato")
# A specific gravity as a maker reads it; one that names its scale is an example of what to type.
SPECIFIC = re.compile(r"(?<![\d.,])(?:0\.9[89]\d|1\.[01]\d\d)\d?(?![\d.]|\s?(?:SG|kg|eq|g/))")
# Working is in SI; what is typed, chosen or copied is as it was typed; a converter has every scale.
LEFT_OUT = re.compile(
    r'<(script|style|select|textarea|pre|code|footer)\b.*?</\1>|<div class="how">.*?</div>',
    re.DOTALL,
)
EVERY_SCALE = ("/convert", "/glossary", "/sources", "/units")


def specific(text: str) -> list[str]:
    """Each specific gravity in what a reader meets, pictures included, with the words around it."""
    read = re.sub(r"<[^>]+>", " ", LEFT_OUT.sub(" ", text))
    read = re.sub(r"kg\s+\([\d.]+ to [\d.]+\)", "kg", read)  # the range of a weight
    return [read[max(m.start() - 50, 0) : m.end() + 20] for m in SPECIFIC.finditer(read)]


class InGravities:
    """Asks for pages whose addresses hold gravities, each with its scale."""

    def __init__(self, client: TestClient) -> None:
        self.client = client

    def get(self, path: str):
        """The page, bare gravities of the address being specific ones."""
        bare = r"(?<==)([01]\.\d{3})(?=&|$)|(?<=\d\+)([01]\.\d{3})(?=%0A|&|$)"
        return self.client.get(re.sub(bare, lambda m: f"{m[0]}+SG", path))


@pytest.fixture(scope="module")
def in_brix(tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[tuple[str, str]]]:
    """Every page and printed answer of a lived-in cellar that chose Brix."""
    folder = tmp_path_factory.mktemp("in_brix")
    new_file(folder)
    compose = Compose(folder)
    keep_units(Cellar(compose).ledger, BRIX)
    keep_units(Cellar(compose).ledger, BRIX)
    with TestClient(create_app(compose), ORIGIN, raise_server_exceptions=False) as client:
        client.headers["Origin"] = ORIGIN
        said = list(product_text.pages(InGravities(client), compose))
    with choosing(BRIX):
        said += [(name, "\n".join(lines)) for name, lines in product_text.outputs(compose)]
    yield said
    compose.close()


@pytest.mark.thorough
def test_with_brix_chosen_no_page_or_command_says_a_specific_gravity(in_brix):
    assert len(in_brix) > 100
    left = {
        where: found
        for where, text in in_brix
        if not where.endswith(("working", *EVERY_SCALE)) and (found := specific(text))
    }
    assert not left, "\n".join(f"{where}: {found}" for where, found in left.items())
    assert sum("°Bx" in text for _, text in in_brix) > 40
    other = [where for where, text in in_brix if "°P" in text and not where.endswith(EVERY_SCALE)]
    assert not other


SHEET = """
[must]
name = "Orchard"
volume = "19 L"
gravity = "1.100"
temperature = "20 C"
[[must.ingredient]]
kind = "clover honey"
amount = "solve"
[[must.ingredient]]
kind = "water"
amount = "fill"
[yeast]
kind = "low-demand neutral"
[shelf]
dap = { teaspoon = "4 g" }
autolysed_yeast = true
rehydration_nutrient = true
"""


@pytest.fixture
def cellar(app):
    return Cellar(app.state.compose)


@pytest.fixture
def batch(client, cellar):
    must = save_sheet(cellar.compose.cellar, None, "Orchard", SHEET, None).key
    form = fields(client.get(f"/musts/{must}/start").text, f"/musts/{must}/start")
    client.post(f"/musts/{must}/start", data=form)
    return must


def read(client, batch, gravity, **more):
    return client.post(f"/batches/{batch}/reading", data={"gravity": gravity, **more})


def last_reading(cellar, batch):
    return cellar.ledger.log(batch)[-1].what


def test_a_batch_has_the_same_figures_on_either_scale(client, batch, cellar):
    read(client, batch, "1.080")
    said, state = {}, {}
    for system in (METRIC, BRIX, PLATO):
        keep_units(cellar.ledger, system)
        said[system] = words(client.get(f"/batches/{batch}").text)
        state[system] = client.get(f"/api/batches/{batch}").json()["state"]
    assert state[METRIC] == state[BRIX] == state[PLATO]
    assert "1.080" in said[METRIC]
    assert "°Bx" not in said[METRIC]
    assert "19.3 °Bx" in said[BRIX]
    assert "19.3 °P" in said[PLATO]
    assert "°Bx" not in said[PLATO]
    assert not specific(said[BRIX] + said[PLATO])


def test_a_plan_started_on_one_scale_is_said_on_the_other(cellar, capsys, monkeypatch):
    monkeypatch.setenv("MUSTWRIGHT_HOME", str(cellar.compose.home))
    keep_units(cellar.ledger, BRIX)
    slug = cellar.start("Lane", 20).slug
    for units, other in (("metric", "°Bx"), ("metric/Plato", "°Bx")):
        assert run(["batch", "show", slug, "--units", units]) == 0
        assert other not in capsys.readouterr().out
    assert run(["batch", "show", slug]) == 0
    printed = capsys.readouterr().out
    assert "°Bx" in printed
    assert "what a hydrometer shows" in printed
    assert not specific(printed)


def test_a_bare_number_is_read_by_a_hydrometer_on_the_chosen_scale(client, batch, cellar):
    keep_units(cellar.ledger, BRIX)
    page = client.get(f"/batches/{batch}").text
    assert ">Gravity, °Bx<" in page

    def typed_over(**more):
        form = fields(client.get(f"/batches/{batch}").text, f"/batches/{batch}/reading")
        return client.post(f"/batches/{batch}/reading", data={**form, **more})

    answer = typed_over(gravity="19.3")
    assert answer.status_code == 200
    kept = last_reading(cellar, batch)
    assert (kept.brix, kept.gravity, kept.instrument) == (19.3, None, "hydrometer")
    refused = typed_over(gravity="1.080")
    assert refused.status_code == 422
    assert "write '1.080 SG' for a gravity" in words(refused.text)
    typed = typed_over(gravity="1.080 SG")
    assert typed.status_code == 200
    assert last_reading(cellar, batch).gravity == 1.080
    typed_over(gravity="16", instrument="refractometer")
    refracted = client.get(f"/batches/{batch}").text
    assert "16 Brix by refractometer" in words(refracted)
    assert ">Refractometer, Brix<" in refracted


def test_a_must_form_keeps_the_scale_of_a_bare_number(client, cellar):
    keep_units(cellar.ledger, BRIX)
    page = client.get("/musts/new").text
    assert "Without a unit it is read as °Bx" in page
    form = fields(page, "/musts/new") | {"name": "Bare", "volume": "19", "shelf": "generic",
                                         "portion.0.kind": "clover honey"}  # fmt: skip
    assert client.post("/musts/new", data={**form, "target": "1.100"}).status_code == 422
    assert client.post("/musts/new", data={**form, "target": "24"}).status_code == 200
    assert 'gravity = "24 Bx"' in cellar.compose.cellar.record("sheet", "bare").text
    kept = save_sheet(cellar.compose.cellar, None, "Kept", SHEET, None)
    assert 'value="1.100 SG"' in client.get(f"/musts/{kept.key}/edit").text
    assert kept.text == cellar.compose.cellar.record("sheet", kept.key).text


def test_a_finishing_form_reads_a_bare_gravity_on_the_chosen_scale(client, cellar):
    keep_units(cellar.ledger, BRIX)
    asked = {"volume": "19", "alcohol": "12 %", "to": "40 g/L", "stabilised": "pasteurised",
             "show": "1"}  # fmt: skip
    given = {g: client.get("/finish/sweeten", params={**asked, "gravity": g})
             for g in ("-0.52", "0.998", "0.998 SG", "-0.52 Bx")}  # fmt: skip
    assert "could be either" in given["0.998"].text
    assert "could be either" not in given["-0.52"].text
    answers = [re.findall(r"[\d.]+ k?g of blossom honey bring it to [-\d.]+ °Bx", words(a.text))
               for g, a in given.items() if g != "0.998"]  # fmt: skip
    assert answers[0]
    assert answers[0] == answers[2]
    assert not specific(given["-0.52"].text)


def test_commands_say_the_scale_that_is_asked_for(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("MUSTWRIGHT_HOME", str(tmp_path / "home"))
    path = tmp_path / "orchard.toml"
    path.write_text(SHEET)
    for name in ("plan", "compare"):
        command = [name, str(path), "--no-forecast"]
        assert run([*command, "--units", "metric/Brix"]) == 0
        printed = capsys.readouterr().out
        assert "23.8 °Bx" in printed or "23.77 °Bx" in printed
        assert not specific(printed)
        assert run(command) == 0
        assert "°Bx" not in capsys.readouterr().out


def test_the_units_page_offers_the_scales_and_keeps_old_choices(client, cellar):
    client.post("/units", data={"units": "us", "gravity": "Plato"})
    assert chosen_for(cellar.ledger).key == "US gal/lb/F/Plato"
    assert "Plato (°P)" in client.get("/units").text
    client.post("/units", data={"units": "own", "volume": "L", "mass": "kg", "temperature": "C"})
    assert chosen_for(cellar.ledger).key == "L/kg/C"
    assert client.post("/units", data={"units": "us", "gravity": "Oechsle"}).status_code == 422


def test_teaspoons_stand_beside_grams_wherever_a_batch_names_them(client, batch, cellar, capsys,
                                                                  monkeypatch):  # fmt: skip
    monkeypatch.setenv("MUSTWRIGHT_HOME", str(cellar.compose.home))
    pages = [f"/batches/{batch}", f"/batches/{batch}/paper", f"/api/batches/{batch}/calendar.ics"]
    said = [words(client.get(page).text.replace("\r\n ", "").replace("\\,", ",")) for page in pages]
    assert run(["batch", "show", batch]) == 0
    said.append(capsys.readouterr().out)
    for text in said:
        found = re.search(
            r"([\d.]+) g ammonium phosphate(?: \(diammonium, DAP\))? \(about ([\d.]+) tsp\)",
            text,
            re.I,
        )
        assert found, text[:2000]
        assert float(found[2]) == pytest.approx(float(found[1]) / 4, rel=0.06)
