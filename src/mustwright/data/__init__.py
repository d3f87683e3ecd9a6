"""Published and assumed values as records, with one cached loader."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from mustwright.errors import UnknownKindError


@cache
def load(name: str) -> dict[str, Any]:
    """The parsed TOML file `name`, without its extension, of this package; not to be changed.

    Examples
    --------
    >>> "Tanaka2001" in load("bibliography")
    True
    """
    return tomllib.loads(text_of(name))


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


def folder(name: str) -> dict[str, dict[str, Any]]:
    """Every parsed TOML file of one folder of this package, by file name without its extension."""
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
    day = profile["compared"]
    return f"{profile['edition']}; last compared {day.day} {day:%B %Y}"
