"""A text is kept with a record, and is the same text after reading it again."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime

import pytest
from tests.pseudo import PSEUDO

from mustwright.kept_texts import texts_in, with_texts
from mustwright.languages import language_called
from mustwright.texts import (
    Text,
    capital,
    join,
    literal,
    redone,
    said,
    say,
    say_n,
    uncapital,
    unchanged,
)
from mustwright.unit_hints import one_way

MADE = {
    "a sentence": say("Add {grams:.1f} g of {name}", grams=1.25, name=literal("honey")),
    "a count": say_n("{count} feed", "{count} feeds", 3),
    "a moment": say("on {at:%d %B}", at=datetime(2031, 5, 2, 8, tzinfo=UTC)),
    "a day": say("on {at:%A}", at=date(2031, 5, 2)),
    "a row": join(", ", [literal("dry"), "x"]),
    "a capital": capital(literal("dry")),
    "no capital": uncapital(literal("Dry")),
    "other words in English": unchanged("racked", literal("Racked")),
    "stripped": literal("dry. ").strip().rstrip("."),
    "a context": say("dry", context="taste"),
    "one way, of none": one_way(join(" ", [say("{grams:g} g now.", grams=6.7), literal("Stir.")])),
}


@pytest.mark.parametrize("name", MADE)
def test_a_text_is_the_same_after_it_was_kept(name):
    kept = json.loads(json.dumps({"words": [MADE[name], 3], "texts": texts_in([MADE[name]])}))
    again = with_texts(kept["words"], kept["texts"])[0]
    assert again == MADE[name]
    for speaker in (PSEUDO, language_called("de")):
        assert said(again, speaker) == said(MADE[name], speaker)


def test_what_a_function_changed_stays_english():
    assert texts_in(redone(str.title, literal("clover honey"))) == {}


@pytest.mark.parametrize(
    "kept",
    [
        ["say", "{x.__class__}", "", {"x": "dry"}],
        ["say", "{x:>999999999}", "", {"x": "dry"}],
        ["say", "other words", "", {}],
        ["change", "format_map", ["literal", "dry", ""], ["row"]],
        ["eval", "1"],
        ["say"],
        "dry",
        None,
    ],
)
def test_what_is_no_text_of_ours_changes_nothing(kept):
    again = with_texts("dry", {"dry": kept})
    assert again == "dry"
    assert not isinstance(again, Text)
