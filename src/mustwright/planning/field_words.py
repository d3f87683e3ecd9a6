"""How a note about a field of the sheet reads to a maker: its words before its address."""

from __future__ import annotations

import re

_CALLED = {
    "legal.profile": "law",
    "must.ingredient": "ingredients",
    "must.name": "name",
    "yeast.amount": "dry yeast",
    "yeast.kind": "yeast",
    "measured.yan_mg_l": "measured nitrogen (YAN)",
    "measured.ph": "measured pH",
}
_FIELD = re.compile(r"(must|yeast|legal|shelf|measured|vessel|goal)((?:\.\w+|\[\d+\])*): ")
_UNIT = re.compile(r"_(mg_l|g_l|pct|dh|c|w|g|l)$")


def note_in_words(note: str) -> str:
    """A note with the address of its field in words; any other note as it is.

    Examples
    --------
    >>> note_in_words("must.volume: no unit given, read as L")
    'Volume: no unit given, read as L'
    >>> note_in_words("must.ingredient[1].amount: no unit given, read as kg")
    'Ingredient 2, amount: no unit given, read as kg'
    >>> note_in_words("Above 30 Brix: a slow start")
    'Above 30 Brix: a slow start'
    """
    found = _FIELD.match(note)
    if found is None:
        return note
    said = _words(found[1] + found[2])
    return f"{said[:1].upper()}{said[1:]}: {note[found.end() :]}"


def _words(address: str) -> str:
    if address in _CALLED:
        return _CALLED[address]
    table, *parts = address.replace("[", ".[").split(".")
    said = [] if table == "must" and parts else [table]
    for part in parts:
        if part.startswith("["):
            said[-1] = f"{said[-1]} {int(part[1:-1]) + 1}"
        else:
            said.append(_UNIT.sub("", part).replace("_", " "))
    return ", ".join(said)
