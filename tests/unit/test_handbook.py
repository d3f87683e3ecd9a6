"""The handbook: its commands run, print what it says, and name buttons that are there."""

from __future__ import annotations

import html
import importlib.util
import re
import sys
from datetime import UTC
from pathlib import Path

import pytest
from PIL import Image
from starlette.testclient import TestClient

from mustwright.compose import Compose
from mustwright.kinetics import ready
from mustwright.languages import language_called, speaking
from mustwright.web.app import create_app
from mustwright.web.render import environment

ROOT = Path(__file__).parents[2]
LARGEST_PICTURE = 60_000  # bytes
ORIGIN = "http://127.0.0.1:8765"
SENTENCE = re.compile(r"[.:]$")  # a bold lead of a paragraph, not the name of something to press
PLACES = (
    "/", "/musts/new", "/musts/dry-lane", "/musts/dry-lane/start", "/batches/dry-lane", "/shelf",
    "/finish", "/finish/sulfite?batch=dry-lane",
)  # fmt: skip


@pytest.fixture(scope="module")
def handbook():
    spec = importlib.util.spec_from_file_location("handbook", ROOT / "scripts/handbook.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["handbook"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def played(handbook, tmp_path_factory):
    """Every command, run on its day: what went wrong, and pages from before the sulfite."""
    ready.warm_up()
    wrong, pages = [], ""
    with handbook.Player(tmp_path_factory.mktemp("handbook")).ready() as player:
        for part in handbook.parts():
            if not pages and "finish sulfite" in part.text:
                pages = seen(player)
            wrong += player.play(part)
        pages += seen(player, "/batches/dry-lane")
    return wrong, pages


def seen(player, *places: str) -> str:
    """The pages over the cellar as it is."""
    compose = Compose(player.folder / "home", lambda: player.now, zone=UTC)
    if not places:
        sheet = (player.folder / "dry-lane.toml").read_text("utf-8")
        compose.cellar.save("sheet", "dry-lane", sheet, None, "Dry lane")
    with TestClient(create_app(compose), ORIGIN) as client:
        texts = [client.get(place).text for place in places or PLACES]
    compose.close()
    return "\n".join(texts)


@pytest.mark.thorough
def test_every_command_runs_and_prints_what_the_text_says(handbook, played):
    wrong, _ = played
    assert wrong == []
    kinds = [part.kind for part in handbook.parts()]
    assert kinds.count("sh") >= 15
    assert kinds.count("prints") >= 10


def names_in(source: Path) -> list[str]:
    """What a text says to press or to read, in its order; no bold lead of a paragraph."""
    named = re.findall(r"\*\*([^*]+)\*\*|\*([A-Z][^*]+)\*", source.read_text("utf-8"))
    asked = [" ".join((a or b).split()) for a, b in named]
    return [one for one in asked if not SENTENCE.search(one)]


@pytest.mark.thorough
def test_every_button_and_page_it_names_is_there(handbook, played):
    _, pages = played
    shown = {
        " ".join(html.unescape(re.sub(r"<[^>]+>", "", found)).split())
        for found in re.findall(r"<(?:a|button|h\d)\b.*?</(?:a|button|h\d)>", pages, re.S)
    }
    buttons = set(names_in(handbook.TEXT))
    assert len(buttons) >= 10
    assert buttons - shown == set()


def test_each_page_is_made_from_its_text(handbook):
    assert handbook.page_of(handbook.TEXT) == handbook.PAGE
    for source in (handbook.TEXT, *handbook.TRANSLATIONS):
        made = handbook.page_of(source)
        text = made.read_text("utf-8")
        assert text == handbook.page(source), "run scripts/handbook.py"
        assert "{{" not in text
        assert "{%" not in text
        for link in re.findall(r"\]\(([^)]+)\)", source.read_text("utf-8")):
            assert (ROOT / "docs" / link).exists(), link


def german_of(handbook) -> Path:
    (german,) = handbook.TRANSLATIONS
    assert german.name == "handbook.de.md"
    return german


def test_the_german_one_gives_the_same_commands_pictures_and_amounts(handbook):
    """Its commands are those that are run above; what they print is told in sentences."""
    german = german_of(handbook)
    ours, theirs = list(handbook.parts()), list(handbook.parts(german))
    assert [p for p in theirs if p.kind != "prints"] == [p for p in ours if p.kind != "prints"]
    said = german.read_text("utf-8")
    pictures = re.compile(r"handbook/(\w+\.webp)")
    assert pictures.findall(said) == pictures.findall(handbook.TEXT.read_text("utf-8"))
    prose = re.sub(r"```.*?```", "", said, flags=re.S)
    figures = {f for p in ours if p.kind == "prints" for f in re.findall(r"\d+(?:\.\d+)?", p.text)}
    assert len(figures) >= 15
    german_figures = set(re.findall(r"\d+(?:,\d+)?", prose))
    assert {f.replace(".", ",") for f in figures} - german_figures == set()


def test_the_german_one_names_buttons_as_the_german_pages_do(handbook):
    """Each name in its place; one that the catalogue does not have yet may be any."""
    german = language_called("de")
    pairs = list(zip(names_in(handbook.TEXT), names_in(german_of(handbook)), strict=True))
    known = [(one, says) for one, says in pairs if german.wording(one, "") != one]
    assert len(known) >= 12
    assert [(one, german.wording(one, "")) for one, _ in known] == known


def test_the_page_is_in_the_language_spoken():
    english = environment().get_template("handbook.html")
    with speaking(language_called("de")):
        german = environment().get_template("handbook.html")
    for template, words in ((english, "From honey to glass"), (german, "Vom Honig ins Glas")):
        body = "".join(template.blocks["main"](template.new_context()))
        assert f"<h1>{words}</h1>" in body


def test_its_pictures_are_small(handbook):
    pictures = sorted(handbook.PICTURES.iterdir())
    named = set(re.findall(r"handbook/(\w+\.webp)", handbook.TEXT.read_text("utf-8")))
    assert {picture.name for picture in pictures} == named
    for picture in (*pictures, ROOT / "docs/images/compare.webp"):
        assert picture.stat().st_size <= LARGEST_PICTURE
        with Image.open(picture) as opened:
            assert opened.format == "WEBP"
