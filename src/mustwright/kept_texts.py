"""How is a text kept with a record, so that it can be said in another language after reading it?

A record holds the English sentence; beside it stands how each of its sentences was made, as plain
data. What cannot be kept so (a text changed by a function) stays English when it is read again.
"""

from __future__ import annotations

import string
from collections.abc import Callable, Mapping
from datetime import date, datetime, time
from numbers import Integral, Real
from typing import Any

from mustwright.texts import Text, capital, join, kept, literal, say, say_n, unchanged

_LONGEST_SPEC = 24
_LETTERS = ("strip", "rstrip", "removesuffix", "removeprefix", "upper")  # of a changed text
_MOMENTS: Mapping[str, type[date] | type[time]] = {"at": datetime, "day": date, "clock": time}


class _NotKeptError(Exception):
    """Something of a text has no plain form, or what was kept is no text of ours."""


def texts_in(value: object) -> dict[str, Any]:
    """How each text of a structure of mappings and lists was made, by its English.

    Examples
    --------
    >>> from mustwright.texts import say
    >>> texts_in({"lead": say("Add {grams:g} g", grams=5.0), "slug": "a"})
    {'Add 5 g': ['say', 'Add {grams:g} g', '', {'grams': 5.0}]}
    """
    found: dict[str, Any] = {}
    _collect(value, found)
    return found


def with_texts(value: Any, texts: object) -> Any:
    """A structure read again, its sentences as the texts they were.

    Parameters
    ----------
    value : object
        As it was read: mappings, lists, strings, numbers.
    texts : object
        What `texts_in` gave; anything else changes nothing.
    """
    if not isinstance(texts, dict) or not texts:
        return value
    if isinstance(value, str):
        return _text_again(value, texts[value]) if value in texts else value
    if isinstance(value, dict):
        return {name: with_texts(one, texts) for name, one in value.items()}
    return [with_texts(one, texts) for one in value] if isinstance(value, list) else value


def _collect(value: object, found: dict[str, Any]) -> None:
    if isinstance(value, Text):
        try:
            found[str(value)] = _plain(value)
        except _NotKeptError:
            return
    elif isinstance(value, Mapping):
        for one in value.values():
            _collect(one, found)
    elif isinstance(value, (list, tuple)):
        for one in value:
            _collect(one, found)


def _plain(part: object) -> Any:
    """A text as a list that begins with its way, a row of parts as one that begins with ``row``."""
    if isinstance(part, Text):
        way, parts = part.made
        if way not in _AGAIN:
            raise _NotKeptError
        own = (str(part),) if way == "unchanged" else ()
        return [way, *(_plain(one) for one in (*own, *parts))]
    if part is None or isinstance(part, (str, bool)):
        return part
    if isinstance(part, Integral):
        return int(part)
    if isinstance(part, Real):
        return float(part)
    if isinstance(part, Mapping):
        return {str(name): _plain(one) for name, one in part.items()}
    if isinstance(part, (list, tuple)):
        return ["row", *(_plain(one) for one in part)]
    for kind, of in _MOMENTS.items():
        if isinstance(part, of):
            return ["moment", kind, part.isoformat()]
    raise _NotKeptError


def _text_again(english: str, data: object) -> str:
    try:
        made = _part(data)
    except (_NotKeptError, ValueError, TypeError, KeyError, IndexError, RecursionError):
        return english
    return made if isinstance(made, Text) and made == english else english


def _part(data: Any) -> Any:
    if isinstance(data, dict):
        return {name: _part(one) for name, one in data.items()}
    if not isinstance(data, list):
        return data
    way, *parts = data
    if way == "row":
        return tuple(_part(one) for one in parts)
    if way == "moment":
        return _MOMENTS[parts[0]].fromisoformat(parts[1])
    if way not in _AGAIN:
        raise _NotKeptError
    _refuse_unsafe(way, parts)
    return _AGAIN[way](*(_part(one) for one in parts))


def _say_again(template: str, context: str, values: dict[str, Any]) -> Text:
    return say(template, context=context, **values)


def _say_n_again(one: str, many: str, context: str, values: dict[str, Any]) -> Text:
    count = values.pop("count")
    return say_n(one, many, count, context=context, **values)


def _change_again(method: str, text: Text, arguments: tuple[Any, ...]) -> Text:
    changed: Text = getattr(text, method)(*arguments)
    return changed


_AGAIN: Mapping[str, Callable[..., Text]] = {
    "say": _say_again, "say_n": _say_n_again, "literal": literal, "join": join,
    "capital": capital, "unchanged": unchanged, "change": _change_again, "kept": kept,
}  # fmt: skip


def _refuse_unsafe(way: str, parts: list[Any]) -> None:
    """What a file of somebody else could hold: formats that reach into values or grow huge."""
    if way == "change" and parts[0] not in _LETTERS:
        raise _NotKeptError
    wordings = parts[: {"say": 1, "say_n": 2}.get(way, 0)]
    for wording in wordings:
        for _, name, spec, _ in string.Formatter().parse(wording):
            if name is not None and not name.isidentifier():
                raise _NotKeptError
            if len(spec or "") > _LONGEST_SPEC or any(len(n) > 2 for n in _numbers(spec or "")):
                raise _NotKeptError


def _numbers(spec: str) -> list[str]:
    return "".join(letter if letter.isdigit() else " " for letter in spec).split()
