"""What does a word of the trade mean: one entry for each, in plain sentences of our own."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from typing import Any

from mustwright import data
from mustwright.errors import UnknownKindError
from mustwright.languages import ENGLISH, code_spoken
from mustwright.texts import join, say


@dataclass(frozen=True)
class GlossaryEntry:
    """A word of the trade, explained.

    Parameters
    ----------
    id : str
        Its place on the page of all of them.
    term, says : str
        As it is printed, and what it means.
    also : tuple of str
        Other words for the same thing.
    forms : tuple of str
        Further spellings that a text may hold, plurals among them.
    after : tuple of str
        If any, a text means this term only after one of these words.
    linked : bool
        Whether pages link to it.
    source : str
        Where a figure in it is from; empty without one.
    """

    id: str
    term: str
    says: str
    also: tuple[str, ...] = ()
    forms: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    linked: bool = True
    source: str = ""

    @property
    def spellings(self) -> tuple[str, ...]:
        """Every way to write it."""
        return (self.term, *self.also, *self.forms)


def glossary() -> Mapping[str, GlossaryEntry]:
    """Every entry by its id, in the order of the terms, in the language spoken here."""
    return _glossary(code_spoken())


@cache
def _glossary(language: str) -> Mapping[str, GlossaryEntry]:
    name = "glossary" if language == ENGLISH else f"languages/{language}/glossary"
    made = [_entry(identity, one) for identity, one in data.load(name).items()]
    return {entry.id: entry for entry in sorted(made, key=lambda entry: entry.term.lower())}


def _entry(identity: str, one: Mapping[str, Any]) -> GlossaryEntry:
    return GlossaryEntry(
        identity,
        str(one["term"]),
        str(one["says"]),
        tuple(one.get("also", ())),
        tuple(one.get("forms", ())),
        tuple(one.get("after", ())),
        bool(one.get("linked", True)),
        str(one.get("source", "")),
    )


def by_spelling() -> Mapping[str, GlossaryEntry]:
    """Every entry by each of its spellings, in small letters."""
    return {word.lower(): entry for entry in glossary().values() for word in entry.spellings}


def explained(word: str) -> GlossaryEntry:
    """The entry of a word, however it is written.

    Raises
    ------
    UnknownKindError
        Naming the words that are spelled most like it.

    Examples
    --------
    >>> explained("Racked").term, explained("yan").id
    ('racking', 'yan')
    """
    known, asked = by_spelling(), " ".join(word.split()).lower()
    if asked in known:
        return known[asked]
    like = sorted(set(_like(asked)))
    requirement = say(
        "needs a word of the glossary, such as {words}", words=join(", ", like or ("YAN", "must"))
    )
    raise UnknownKindError("term", requirement, word)


def _like(asked: str) -> Iterator[str]:
    """Terms that are spelled nearly so, or hold the word."""
    known = by_spelling()
    for word, entry in known.items():
        if len(asked) > 2 and asked in word:
            yield entry.term
    for word in get_close_matches(asked, known, 3, 0.6):
        yield known[word].term
