"""Published and assumed values as records, with one cached loader."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any

from mustwright.errors import UnknownKindError
from mustwright.texts import Text, literal, say

# Under these keys stands what a maker reads; everything else (sources, words of laws that a label
# must carry as they are, keys, units) is the same in every language.
TOLD = frozenset((
    "name", "note", "says", "statement", "assumes", "account", "text", "caution", "check", "do",
    "do_late", "stop", "words", "why", "act", "causes", "worse", "better", "measure",
    "separates", "form", "aromas", "tastes", "faults", "title", "not_working", "naming", "date",
    "household", "makes", "weak_words", "tax_note", "cost", "cooler", "warmer", "no_class_below",
    "no_class_above", "fill", "label", "hint", "sparkling_class", "taste_source",
    "least_days_source", "sulfite_told",
))  # fmt: skip
# Of the names of laws only this one is no citation.
_EDITIONS = {str(one): one for one in (say("no legal text; the maker's own labels"),)}
UNTOLD = ("bibliography", "glossary")  # citations; what each language has a file of its own for


@cache
def load(name: str) -> dict[str, Any]:
    """The parsed TOML file `name`, without its extension, of this package; not to be changed.

    What stands under a key of `TOLD` is a `Text`, which languages have a wording for.

    Examples
    --------
    >>> "Tanaka2001" in load("bibliography")
    True
    """
    read = tomllib.loads(text_of(name))
    if name.rpartition("/")[2] in UNTOLD:
        return read
    return {key: told(one, key) for key, one in read.items()}


def told(value: Any, key: str) -> Any:
    """A value of a data file, its texts such as languages have a wording for.

    Parameters
    ----------
    key : str
        Under which it stands.
    """
    if isinstance(value, Mapping):
        return {inner: told(one, inner) for inner, one in value.items()}
    if isinstance(value, list):
        return [told(one, key) for one in value]
    return literal(value) if isinstance(value, str) and value and key in TOLD else value


def every_text() -> list[str]:
    """All texts of the data files, each once; the demo's are a maker's own words."""
    found: dict[str, None] = {}
    waiting: list[Any] = []
    for path in sorted(_files(files(__package__)), key=str):
        if path.name.endswith(".toml") and path.name[:-5] not in UNTOLD:
            read = tomllib.loads(path.read_text(encoding="utf-8"))
            waiting += [told(one, key) for key, one in read.items()]
    while waiting:
        one = waiting.pop(0)
        if isinstance(one, Text):
            found[str(one)] = None
        elif isinstance(one, (Mapping, list)):
            waiting += one.values() if isinstance(one, Mapping) else one
    return list(found)


def _files(place: Traversable) -> Iterator[Traversable]:
    for one in place.iterdir():
        if one.is_file():
            yield one
        elif one.name not in ("demo", "languages", "__pycache__"):
            yield from _files(one)


def text_of(name: str) -> str:
    """The text of the TOML file `name` of this package (without its extension)."""
    return (files(__package__) / f"{name}.toml").read_text(encoding="utf-8")


def key_of(records: Mapping[str, object], identity: object, where: str) -> str:
    """The id of a record from what was typed: any case, blanks around it.

    Raises
    ------
    UnknownKindError
        Naming the field `where` and what there is.

    Examples
    --------
    >>> key_of({"eu": 1, "us": 2}, " EU ", "profile")
    'eu'
    """
    key = str(identity).strip().lower()
    if not isinstance(identity, str) or key not in records:
        raise UnknownKindError(where, f"needs one of {', '.join(sorted(records))}", identity)
    return key


@cache
def folder(name: str) -> dict[str, dict[str, Any]]:
    """Every parsed TOML file of one folder of this package, by file name without its extension.

    Not to be changed.
    """
    place = files(__package__) / name
    names = sorted(p.name for p in place.iterdir() if p.name.endswith(".toml"))
    return {n[:-5]: load(f"{name}/{n[:-5]}") for n in names}


def edition_of(profile: Mapping[str, Any]) -> str:
    """The texts a legal profile was taken from and the day it was last compared with them.

    Examples
    --------
    >>> edition_of(folder("limits")["home"])
    "no legal text; the maker's own labels; last compared 29 November 2026"
    """
    day, edition = profile["compared"], profile["edition"]
    return say(
        "{edition}; last compared {number} {day:%B %Y}",
        edition=_EDITIONS.get(edition, edition),
        number=day.day,
        day=day,
    )
