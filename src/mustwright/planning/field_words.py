"""How a note about a field of the sheet reads to a maker: its words before its address."""

from __future__ import annotations

import re

from mustwright.texts import Text, capital, join, say

_CALLED = {
    "legal.profile": say("law"),
    "must.ingredient": say("ingredients"),
    "must.name": say("name"),
    "yeast.amount": say("dry yeast"),
    "yeast.kind": say("yeast"),
    "measured.yan_mg_l": say("measured nitrogen (YAN)"),
    "measured.ph": say("measured pH"),
}
# Parts of an address; any other is said as it is written.
_PARTS = {
    str(word): word
    for word in (
        say("must", context="field"), say("yeast", context="field"),
        say("legal", context="field"), say("shelf", context="field"),
        say("measured", context="field"), say("vessel", context="field"),
        say("goal", context="field"), say("volume", context="field"),
        say("gravity", context="field"), say("alcohol", context="field"),
        say("finish", context="field"), say("temperature", context="field"),
        say("temperature steps", context="field"), say("aeration", context="field"),
        say("feeding", context="field"), say("ingredient", context="field"),
        say("kind", context="field"), say("name", context="field"),
        say("amount", context="field"), say("stage", context="field"),
        say("parts", context="field"), say("price per kg", context="field"),
        say("moisture", context="field"), say("refractive index", context="field"),
        say("alkalinity", context="field"), say("hardness", context="field"),
        say("rehydrated", context="field"), say("room", context="field"),
        say("material", context="field"), say("cool above", context="field"),
        say("cooling", context="field"), say("scale", context="field"),
        say("labels", context="field"), say("aim", context="field"),
        say("protocols", context="field"), say("nutrient", context="field"),
        say("stock", context="field"), say("price", context="field"),
    )
}  # fmt: skip
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
    kept = note.removeprefix(found[0]) if isinstance(note, Text) else note[found.end() :]
    return join(": ", (capital(_words(found[1] + found[2])), kept))


def _words(address: str) -> str:
    if address in _CALLED:
        return _CALLED[address]
    table, *parts = address.replace("[", ".[").split(".")
    words = [] if table == "must" and parts else [_PARTS.get(table, table)]
    for part in parts:
        if part.startswith("["):
            words[-1] = join(" ", (words[-1], str(int(part[1:-1]) + 1)))
        else:
            plain = _UNIT.sub("", part).replace("_", " ")
            words.append(_PARTS.get(plain, plain))
    return join(", ", words)
