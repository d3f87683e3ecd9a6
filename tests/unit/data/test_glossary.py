"""The glossary: every entry whole, every spelling its own, every figure with its source."""

from __future__ import annotations

import json
import re

import pytest

from mustwright.cli.main import run
from mustwright.data.glossary import explained, glossary
from mustwright.errors import UnknownKindError

MOST_SENTENCES = 2
DIGITS = re.compile(r"\d")


def test_every_entry_is_a_plain_sentence_or_two():
    assert len(glossary()) >= 60
    for entry in glossary().values():
        assert re.fullmatch(r"[a-z0-9_]+", entry.id)
        assert entry.says.endswith(".")
        sentences = re.split(r"(?<=[.!?])\s+", entry.says)
        assert len(sentences) <= MOST_SENTENCES, entry.id
        assert max(len(one.split()) for one in sentences) <= 25, entry.id
        if DIGITS.search(entry.says):
            assert entry.source, f"{entry.id} has a figure and no source"


def test_no_spelling_means_two_things():
    spellings = [word.lower() for entry in glossary().values() for word in entry.spellings]
    assert len(spellings) == len(set(spellings))


@pytest.mark.parametrize("word", ["YAN", "yan", "  Autolysed  yeast ", "racked", "Bx"])
def test_a_word_is_found_however_it_is_written(word):
    assert word.split()[0].lower() in " ".join(explained(word).spellings).lower()


def test_an_unknown_word_names_those_like_it():
    with pytest.raises(UnknownKindError, match="racking"):
        explained("rackin")
    with pytest.raises(UnknownKindError, match="YAN"):
        explained("zzzzzz")


def test_the_command_explains_one_or_all(capsys):
    assert run(["glossary", "lees"]) == 0
    assert capsys.readouterr().out.startswith("lees\n  What settles")
    assert run(["glossary", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["glossary"]
    assert [one["id"] for one in told] == list(glossary())
    assert set(told[0]) == {"id", "term", "also", "says", "source"}
    assert run(["glossary", "lees", "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["glossary"]) == 1
    assert run(["glossary", "gravel"]) == 2
