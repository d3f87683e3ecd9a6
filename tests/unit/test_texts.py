"""A text is a string, and can be said in another language."""

from __future__ import annotations

import copy
import pickle
from datetime import date

import pytest

from mustwright.languages import here, language_called, speaking
from mustwright.texts import (
    Text,
    before,
    capital,
    join,
    listed,
    literal,
    said,
    say,
    say_n,
    uncapital,
)


class Loud:
    """A language that says everything loudly."""

    def wording(self, template, context):
        return f"<{context}{template.upper() if '{' not in template else template}>"

    def wording_of(self, one, many, count, context):
        return f"<{context}{one if count == 1 else many}>"

    def formatted(self, value, spec):
        return (
            said(value, self) if isinstance(value, str) else format(value, spec).replace(".", ",")
        )


LOUD = Loud()
MADE = {
    "a sentence": (say("Add {g:.1f} g of {name}", g=1.25, name=literal("honey")),
                   "Add 1.2 g of honey", "<Add 1,2 g of <HONEY>>"),
    "typed words": (say("See {name}", name="my honey"), "See my honey", "<See my honey>"),
    "a format within one": (say("{x:.{d}f} L", x=1.234, d=2), "1.23 L", "<1,23 L>"),
    "one": (say_n("{count} feed", "{count} feeds", 1), "1 feed", "<1 feed>"),
    "many": (say_n("{count} feed", "{count} feeds", 3), "3 feeds", "<3 feeds>"),
    "a row": (join(", ", [literal("dry"), "x"]), "dry, x", "<DRY>, x"),
    "a list": (listed([literal("dry"), "x"]), "dry and x", "<<DRY> and x>"),
    "plus": (literal("dry") + " " + literal("mead"), "dry mead", "<DRY> <MEAD>"),
    "plus before": ("a " + literal("mead"), "a mead", "a <MEAD>"),
    "a capital": (capital(literal("dry")), "Dry", "<DRY>"),
    "no capital": (uncapital(literal("Dry")), "dry", "<DRY>"),
    "before a mark": (before(literal("wort, all malt"), ","), "wort", "<WORT"),
    "lower": (literal("Dry Mead").lower(), "dry mead", "<DRY MEAD>"),
    "stripped": (literal("dry. ").strip().rstrip("."), "dry", "<DRY. >"),
    "formatted later": (literal("at {x}").format(x=3.5), "at 3.5", "<at 3,5>"),
    "a context": (say("dry", context="taste"), "dry", "<tasteDRY>"),
}  # fmt: skip


@pytest.mark.parametrize("name", MADE)
def test_it_is_english_and_can_be_said_otherwise(name):
    text, english, loud = MADE[name]
    assert text == english
    assert isinstance(text, Text)
    assert said(text, LOUD) == loud


@pytest.mark.parametrize("name", MADE)
def test_it_is_copied_and_pickled_with_how_it_was_made(name):
    text, english, loud = MADE[name]
    for again in (copy.deepcopy(text), pickle.loads(pickle.dumps(text))):
        assert again == english
        assert said(again, LOUD) == loud


def test_german_numbers_and_days():
    german = language_called("de")
    with speaking(german):
        assert here(say("{x:.2f} {y:,.0f}", x=1.5, y=12345.0)) == "1,50 12.345"
        assert here(say("{at:%A} {n}", at=date(2031, 5, 2), n=3)) == "Freitag 3"
        assert here("plain 1.5") == "plain 1.5"
    assert here(say("{x:.2f}", x=1.5)) == "1.50"


def test_a_share_is_written_like_any_figure_with_its_unit():
    assert say("stops in {share:.0%} of runs", share=0.08) == "stops in 8 % of runs"
    assert say("{share:4.0%} of {count}", share=0.5, count="100%") == " 50 % of 100 %"
    assert say_n("{share:.1%}, once", "{share:.1%}, {count} times", 2, share=0.125) == (
        "12.5 %, 2 times"
    )
    assert say("{count} %2", count=8) == "8 %2"
