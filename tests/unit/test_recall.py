"""A sentence kept in English is known again, and the maker's own words are left alone."""

from __future__ import annotations

import pytest

from mustwright.languages import language_called
from mustwright.recall import Recall
from mustwright.texts import kept, said, say

DAYS = ("Montag", "Dienstag", "Mittwoch", "Donnerstag", "Freitag", "Samstag", "Sonntag")
MONTHS = ("Januar", "Februar", "März", "April", "Mai", "Juni", "Juli", "August", "September",
          "Oktober", "November", "Dezember")  # fmt: skip
WORDINGS = (
    ("when {part} of the sugar is gone (gravity about {gravity})",
     "wenn {part} des Zuckers weg ist (Dichte etwa {gravity})"),
    ("one third", "ein Drittel"),
    ("{days:.0f} days", "{days:.0f} Tage"),
    ("Wear gloves.", "Handschuhe tragen."),
    ("stir first", "zuerst umrühren"),
    ("Diammonium phosphate", "Diammoniumphosphat"),
    ("On {at:%Y-%m-%d} {what} went in", "Am {at:%d.%m.%Y} kam {what} hinein"),
    ("sulfite", "Sulfit"),
    ("{day} about {at:%H:%M}", "{day} gegen {at:%H:%M} Uhr"),
    ("{at:%A} {day} {at:%B}", "{at:%A}, {day}. {at:%B}"),
    ("{one} or {other}, whichever comes first", "{one} oder {other}, was zuerst kommt"),
    ("{low} to {high}", "{low} bis {high}"),
    ("a {thing} and the same {thing} again", "zweimal {thing}"),
)  # fmt: skip
RECALL = Recall(
    WORDINGS,
    lambda number: number.replace(".", ","),
    lambda code, place: (DAYS if code in ("%A", "%a") else MONTHS)[place],
)
KEPT = {
    "a wording": ("one third", "ein Drittel"),
    "a wording with values": (
        "when one third of the sugar is gone (gravity about 1.079)",
        "wenn ein Drittel des Zuckers weg ist (Dichte etwa 1,079)",
    ),
    "one within another": (
        "when 25 % of the sugar is gone (gravity about 1.084) or 2 days, whichever comes first",
        "wenn 25 % des Zuckers weg ist (Dichte etwa 1,084) oder 2 Tage, was zuerst kommt",
    ),
    "sentences": ("Stir first. Wear gloves.", "Zuerst umrühren. Handschuhe tragen."),
    "lines": ("Wear gloves.\nmine", "Handschuhe tragen.\nmine"),
    "a small letter": ("diammonium phosphate", "Diammoniumphosphat"),
    "a date": ("On 2031-05-01 sulfite went in", "Am 01.05.2031 kam Sulfit hinein"),
    "a day": ("Friday 3 May about 07:00", "Freitag, 3. Mai gegen 07:00 Uhr"),
    "a number": ("12.5 mg/L", "12,5 mg/L"),
    "own words": ("from mum to me", "from mum to me"),
    "no number": ("version 1.2.3", "version 1.2.3"),
    "nothing": ("", ""),
}


@pytest.mark.parametrize("name", KEPT)
def test_a_kept_text_is_known_again(name):
    text, says = KEPT[name]
    assert RECALL.said(text) == says
    assert RECALL.said(text) == says  # from what is remembered


def test_german_knows_its_own_sentences_again():
    german = language_called("de")
    made = say("{count:.0f} of {size}", count=12, size="750 mL")
    assert said(kept("yeast stopped by: sulfite and sorbate"), german) == (
        "Hefe gestoppt durch: Sulfit und Sorbat"
    )
    assert kept(made) is made
    assert said(kept("as my grandfather did it"), german) == "as my grandfather did it"
