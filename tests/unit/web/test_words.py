"""Plain English everywhere: no banned turn on any page, help, output, error, in data or docs."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from html.parser import HTMLParser
from pathlib import Path

import pytest
from starlette.testclient import TestClient

import product_text
from databases import new_file
from mustwright.compose import Compose
from mustwright.data.glossary import explained, glossary
from mustwright.web.app import create_app

BANNED = Path(__file__).parents[2] / "banned_words.txt"
LEAST_BANNED = 80  # the list only grows: raise this with it
MOST_WORDS = 25  # in the sentence that says what to do next
FEWEST_LINES = {"pages": 3000, "helps": 500, "outputs": 300, "data": 250, "commands": 600,
                "docs": 1000}  # fmt: skip
# Addresses whose text is the formulas of all figures, and the documents by their own titles.
UNREAD = ("/working", "/sources")
ORIGIN = "http://127.0.0.1:8765"


def banned() -> list[tuple[re.Pattern[str], str]]:
    """Each pattern with its reason."""
    found = []
    for line in BANNED.read_text("utf-8").splitlines():
        if line and not line.startswith("#"):
            pattern, mark, reason = line.partition("  # ")
            assert mark, f"no reason: {line}"
            assert reason.strip(), f"no reason: {line}"
            found.append((re.compile(pattern, re.I), reason))
    return found


def offences(texts: Iterable[tuple[str, list[str]]]) -> tuple[list[str], int]:
    """What is banned and where, and how many lines were looked at."""
    patterns = banned()
    found, count, seen = [], 0, set()
    for where, lines in texts:
        if where.partition("?")[0].endswith(UNREAD):
            continue
        count += len(lines)
        for line in lines:
            for pattern, reason in patterns if line not in seen else ():
                if hit := pattern.search(line):
                    found.append(f"{where}: {hit[0]!r} in {line[:160]!r} ({reason})")
            seen.add(line)
    return found, count


@dataclass
class LivedIn:
    """What a cellar with batches in every phase says."""

    pages: dict[str, str]
    outputs: list[tuple[str, list[str]]]
    next_sentences: dict[str, str]

    @cached_property
    def read(self) -> dict[str, Reader]:
        """Each page as a reader meets it."""
        return {path: Reader(page) for path, page in self.pages.items()}


@pytest.fixture(scope="module")
def lived_in(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LivedIn]:
    """Every page and printed answer, made once for this module."""
    folder = tmp_path_factory.mktemp("lived_in")
    new_file(folder)
    compose = Compose(folder)
    with TestClient(create_app(compose), ORIGIN, raise_server_exceptions=False) as client:
        client.headers["Origin"] = ORIGIN
        pages = dict(product_text.pages(client, compose))
    outputs = list(product_text.outputs(compose))
    yield LivedIn(pages, outputs, dict(product_text.next_sentences(compose)))
    compose.close()


def test_the_list_of_banned_words_only_grows():
    patterns = [pattern.pattern for pattern, _ in banned()]
    assert len(patterns) == len(set(patterns)) >= LEAST_BANNED
    for crooked in (
        "All that is known of it, and whence",
        "it sticks or crawls in 3 %",
        "must.volume: bare number read as L",
        "a yeast that bears 18 % vol",
    ):
        assert offences([("a page", [crooked])])[0], crooked
    assert offences([("a page", ["Mix 5 kg of honey with 15 L of water."])]) == ([], 1)


@pytest.mark.thorough
def test_pages_and_commands_over_a_lived_in_cellar_are_in_plain_english(lived_in):
    lines_of = product_text.lines_of
    found, count = offences((path, lines_of(page)) for path, page in lived_in.pages.items())
    assert count > FEWEST_LINES["pages"]
    printed, lines = offences(lived_in.outputs)
    assert lines > FEWEST_LINES["outputs"]
    assert not found + printed, "\n".join(found + printed)
    sentences = lived_in.next_sentences
    assert len(sentences) >= 7
    for slug, sentence in sentences.items():
        assert len(sentence.split()) <= MOST_WORDS, f"{slug}: {sentence}"


@pytest.mark.thorough
def test_no_gravity_is_said_on_a_scale_that_nobody_chose(lived_in):
    said = [*lived_in.pages.items(), *((n, "\n".join(lines)) for n, lines in lived_in.outputs)]
    other = [where for where, text in said if re.search("°(?:Bx|P)\\b", text)]
    assert set(other) <= {"/", "/units", "/glossary"}


def test_helps_data_and_docs_are_in_plain_english():
    found, count = offences(product_text.helps())
    assert count > FEWEST_LINES["helps"]
    told, lines = offences(product_text.data_texts())
    assert lines > FEWEST_LINES["data"]
    written, paragraphs = offences(product_text.docs())
    assert paragraphs > FEWEST_LINES["docs"]
    assert not found + told + written, "\n".join(found + told + written)


@pytest.mark.thorough
def test_what_other_commands_print_and_refuse_is_in_plain_english(tmp_path, monkeypatch):
    """Finishing steps, acid, forecast and lists; and an error for each kind of slip."""
    monkeypatch.setenv("MUSTWRIGHT_HOME", str(tmp_path / "home"))
    found, count = offences(product_text.printed())
    assert count > FEWEST_LINES["commands"]
    refused = list(product_text.refusals(tmp_path))
    told, lines = offences(refused)
    assert lines == len(refused) >= 25
    assert not found + told, "\n".join(found + told)
    for where, (line,) in refused:
        assert line.startswith("mustwright: "), where


# Within these a glossary link would be wrong: each leads elsewhere, is typed, drawn or copied.
NEVER_WITHIN = {
    "a", "h1", "h2", "h3", "h4", "svg", "code", "pre", "script", "style", "button", "label",
    "select", "textarea", "summary", "form",
}  # fmt: skip
# How a figure was worked out is not read on the way; what unfolds by name is.
WORKING = "details of a figure"
FOLDED = {*NEVER_WITHIN, WORKING, "th", "cite"}
VOID = {"br", "hr", "img", "input", "link", "meta", "path", "rect", "circle", "line", "use"}
TERMS = Path(__file__).parents[2] / "trade_terms.txt"
LEAST_TERMS = 100  # the list only grows


class Reader(HTMLParser):
    """Reads the main part of a page: running text, and each link to the glossary with its place."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.links: list[tuple[str, str]] = []  # entry and word
        self.running = ""  # text outside of what is left alone, links included
        self.before: list[str] = []  # the running text before each link
        self.wrong: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        href = dict(attrs).get("href") or ""
        if "main" in self.open and href.startswith("/glossary#"):
            if NEVER_WITHIN & set(self.open):
                self.wrong.append(f"{href} within {self.open}")
            self.before.append(self.running)
            self.links.append((href.partition("#")[2], ""))
            self.open.append("term")
        elif tag not in VOID:
            is_figure = tag == "details" and dict(attrs).get("class") == "fig"
            self.open.append(WORKING if is_figure else tag)

    def handle_endtag(self, tag: str) -> None:
        if tag == "a" and "term" in self.open:
            tag = "term"
        if tag == "details":
            tag = next((t for t in reversed(self.open) if t in (tag, WORKING)), tag)
        if tag in self.open:
            while self.open.pop() != tag:
                pass

    def handle_data(self, data: str) -> None:
        if "term" in self.open:
            self.links[-1] = (self.links[-1][0], data)
        if "main" in self.open and not FOLDED & set(self.open):
            self.running += f"{' '.join(data.split())} "


@cache
def _pattern(word: str) -> re.Pattern[str]:
    """A word by itself, or as a part of a longer term that holds it, which comes first."""
    longer = {
        spelling
        for entry in glossary().values()
        for spelling in entry.spellings
        if word.lower() in spelling.lower() and len(spelling) > len(word)
    }
    parts = [re.escape(one) for one in sorted(longer, key=len, reverse=True)]
    either = "|".join([*parts, f"(?P<alone>{re.escape(word)})"])
    return re.compile(rf"(?<![\w&/.-])(?:{either})(?![\w/-])", re.I)


def stands_in(word: str, text: str) -> bool:
    """Whether a word stands in a text by itself, not as a part of another term."""
    if word.lower() not in text.lower():
        return False
    return any(found["alone"] for found in _pattern(word).finditer(text))


@pytest.mark.thorough
def test_every_page_links_each_word_of_the_trade_where_it_stands_first(lived_in):
    known, linked = glossary(), set()
    for path, read in lived_in.read.items():
        assert not read.wrong, (path, read.wrong)
        entries = [entry for entry, _ in read.links]
        assert len(entries) == len(set(entries)), f"{path} links a word twice: {entries}"
        assert set(entries) <= set(known), path
        linked |= set(entries)
        for (entry, word), before in zip(read.links, read.before, strict=True):
            assert word.lower() in {one.lower() for one in known[entry].spellings}, (path, word)
            if not known[entry].after:
                assert not stands_in(word, before), f"{path}: {word} stood before its link"
    assert len(linked) > 40


@pytest.mark.thorough
def test_every_word_of_the_trade_on_a_page_is_explained_and_linked(lived_in):
    """Those of the agreed list; one that no page holds needs no entry."""
    lines = TERMS.read_text("utf-8").splitlines()
    terms = [line for line in lines if line and not line.startswith("#")]
    assert len(terms) == len(set(terms)) >= LEAST_TERMS
    met = set()
    for path, read in lived_in.read.items():
        if path == "/glossary":
            continue
        entries = {entry for entry, _ in read.links}
        for term in terms:
            if stands_in(term, read.running):
                entry = explained(term)
                met.add(term)
                assert not entry.linked or entry.id in entries or entry.after, (path, term)
    assert len(met) > 50


@pytest.mark.thorough
def test_the_page_of_the_glossary_has_every_entry_and_leads_nowhere_else(lived_in):
    page = lived_in.pages["/glossary"]
    assert set(re.findall(r'<dt id="(\w+)"', page)) == set(glossary())
    assert "/glossary#" not in page
    assert all('href="/glossary"' in other for other in lived_in.pages.values())
