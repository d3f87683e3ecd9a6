"""Every text is in the catalogue, and every language says all of it, on pages and prints."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from starlette.testclient import TestClient

import catalogue
import product_text
from databases import new_file
from mustwright import data, languages
from mustwright.compose import Compose
from mustwright.input_names import input_words
from mustwright.texts import Text, said
from mustwright.web import render
from mustwright.web.app import create_app
from mustwright.web.pictures.frame import TimeAxis
from pseudo import PSEUDO, english_in

ORIGIN = "http://127.0.0.1:8765"
OTHERS = [code for code in languages.NAMED if code != languages.ENGLISH]


@pytest.mark.thorough
@pytest.mark.parametrize("code", OTHERS)
def test_a_language_says_everything_and_nothing_else(code):
    lacks = [f"{part}: {wording.one}" for wording, part in catalogue.missing(code).items()]
    assert not lacks, "\n".join(lacks)
    assert not catalogue.unused(code)
    assert not catalogue.wrong(code)


def test_scripts_say_what_the_catalogue_says():
    script = (catalogue.STATIC / "words.js").read_text("utf-8")
    assert catalogue.with_table(script, catalogue.script_table(OTHERS)) == script


def test_a_wording_that_names_another_value_is_found():
    assert catalogue.names_in("{a} of {b:.{d}f}") == {"a", "b", "d"}
    assert catalogue.names_in("%(a)s of 100 %%") == {"a"}


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Every page of a cellar with batches in every phase, every wording in brackets."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(languages, "_read", lambda _code: PSEUDO)
        _forget_german()
        found = _pages(tmp_path_factory.mktemp("in_brackets"))
    _forget_german()
    return found


def _forget_german() -> None:
    """What is kept in memory under the code of German, which the brackets take."""
    TimeAxis._labels.cache_clear()
    render._kept.cache_clear()


@pytest.fixture(scope="module")
def german(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The same in German."""
    return _pages(tmp_path_factory.mktemp("german"))


def _pages(folder: Path) -> dict[str, str]:
    new_file(folder)
    compose = Compose(folder)
    with TestClient(create_app(compose), ORIGIN, raise_server_exceptions=False) as client:
        client.headers["Origin"] = ORIGIN
        client.headers["Accept-Language"] = "de"
        found = dict(product_text.pages(client, compose))
    compose.close()
    return found


UNREAD = ("/working", "/sources", "/glossary")  # citations, and words of a file of their own
# Names that makers gave (of the demo and of these batches), names of languages, what the forms were
# filled with, units, and what stands beside a citation within the code.
MAKERS = (
    "Mustwright", "Language", "English", "Deutsch", "Old lime", "Quick", "Sour", "Forgotten",
    "Done", "Not pitched", "Slow one", "Dry lane mead", "Hedgerow berry", "Midwinter sweet", "old",
    "young",
    "Autolysed-yeast nutrient", "Complex nutrient", "Diammonium phosphate", "Rehydration nutrient",
    "pasteurised", "sucrose", "sparkling", "water", "14 to 18",
    "wildflower honey",
)  # fmt: skip
UNITS = (
    "mg N/L", "mg N/g", "mg/L", "mg/g", "kg/m³", "kg", "mL", "L", "g/100 mL", "g/L", "g/mol", "g",
    "US gal", "US fl oz", "lb", "oz", "Brix", "vol", "mol/mol", "meq/L per pH", "meq/L", "pH", "cm",
    "bar", "SG 20/20", "SG", "kPa", "C", "per day",
)  # fmt: skip
BESIDE = (
    "from memory, for what dissolves", "carbon dioxide at 0 C and 101.325",
    "charge balance of the must's acids and ions",
    "for alcohol and sugar; ideal gas", "for alcohol and sugar", "mass balance",
)  # fmt: skip
OWN = re.compile(
    rf"(?:(?<!\w)(?:{'|'.join(map(re.escape, (*MAKERS, *UNITS, *BESIDE)))})(?!\w)|[\W\d_]|e)+"
)


def _untold() -> str:
    """Every string of the data files that is a citation or a word of law, not a text."""
    found = list(data.load("bibliography"))
    waiting: list[object] = [data.load(name) for name in _names_of_data()]
    while waiting:
        one = waiting.pop()
        if isinstance(one, dict):
            waiting += one.values()
        elif isinstance(one, list):
            waiting += one
        elif isinstance(one, str) and not isinstance(one, Text):
            found.append(one)
    return "\n".join(found)


def _names_of_data() -> list[str]:
    folder = Path(data.__file__).parent
    return [
        str(path.relative_to(folder).with_suffix(""))
        for path in folder.rglob("*.toml")
        if not {"demo", "languages"} & set(path.relative_to(folder).parts)
    ]


@pytest.mark.thorough
def test_no_page_says_anything_that_is_not_in_the_catalogue(pages):
    assert len(pages) > 100
    cited, found = _untold(), {}
    for path, page in pages.items():
        if path.partition("?")[0].endswith(UNREAD):
            continue
        for piece in english_in(page):
            plain = piece.strip(" :;,.()")
            if plain not in cited and not OWN.fullmatch(plain):
                found.setdefault(piece, path)
    assert not found, "\n".join(f"{path}: {piece}" for piece, path in sorted(found.items()))


@pytest.mark.thorough
def test_a_page_in_german_says_numbers_and_days_as_german_does(german):
    page = german["/musts/dry-lane-mead"]
    assert '<html lang="de">' in page
    assert "Gabe 1" in page
    assert re.search(r"\d,\d g ", page)
    assert not re.search(r"\d\.\d g ", re.sub(r"<[^>]+>", "", page))


@pytest.mark.thorough
def test_days_states_and_kept_sentences_are_german_on_every_page(german):
    batch = german["/batches/sour"]
    assert re.search(r"\(zwischen heute \d\d:\d\d und morgen \d\d:\d\d Uhr\)", batch)
    assert "Gabe 1 Gärbeginn: gegeben, " in batch
    assert not re.search(r"\b(?:today|tomorrow|ahead)\b", re.sub(r"<[^>]+>", "", batch))
    assert "Die Hälfte davon zugeben (3,3 g)" in german["/"]
    assert "is the smallest dose" not in german["/"]


SHEET = (
    '[must]\nvolume = "19,5 L"\ngravity = "1,100"\n'
    '[[must.ingredient]]\nkind = "clover honey"\namount = "solve"\n'
    '[[must.ingredient]]\nkind = "water"\namount = "fill"\n'
)


def test_a_decimal_comma_typed_in_german_is_kept_as_a_point(app, client):
    client.headers["Accept-Language"] = "de"
    answer = client.post("/musts/new/text", data={"name": "Met 1,5", "text": SHEET})
    assert answer.status_code == 200
    (kept,) = app.state.compose.cellar.records("sheet")
    assert kept.name == "Met 1,5"
    assert 'volume = "19.5 L"' in kept.text
    assert 'gravity = "1.100"' in kept.text
    client.headers["Accept-Language"] = "en"
    assert client.get(f"/musts/{kept.key}").status_code == 200


def test_without_german_a_thousands_comma_is_refused_as_before(client):
    answer = client.post("/musts/new/text", data={"name": "Mead", "text": SHEET})
    assert answer.status_code == 422
    assert "without a thousands comma" in answer.text


@pytest.mark.parametrize(
    ("cookie", "cellar", "browser", "spoken"),
    [("", "", "", "en"), ("", "", "de", "de"), ("", "en", "de", "en"), ("de", "en", "en", "de"),
     ("xx", "", "fr", "en")],
)  # fmt: skip
def test_the_person_chooses_before_the_cellar_and_that_before_the_browser(
    client, cookie, cellar, browser, spoken
):
    if cellar:
        client.post("/language", data={"language": cellar, "whose": "cellar"})
    client.cookies.clear()
    if cookie:
        client.cookies.set("mustwright_language", cookie)
    client.headers["Accept-Language"] = browser
    assert f'<html lang="{spoken}">' in client.get("/units").text


def test_data_stays_english(client):
    client.headers["Accept-Language"] = "de"
    assert client.get("/api/no-such").json()["error"]["message"].startswith("There is nothing at")


def test_the_names_of_figures_are_said_in_german():
    german = languages.language_called("de")
    for name, says in {
        "chance_of_dry": "Wahrscheinlichkeit durchzugären",
        "peak_gas_l_h": "stärkste Gasentwicklung",
        "trough": "tiefster pH-Wert",
        "unused_ammonium_mg_l": "nicht aufgenommenes Ammonium",
    }.items():
        assert said(input_words(name), german) == says
