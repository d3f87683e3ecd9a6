"""How does a frozen record come back from JSON: by the types of its fields, strictly."""

from __future__ import annotations

import math
import types
import typing
from collections.abc import Callable, Mapping
from dataclasses import MISSING, fields, is_dataclass
from datetime import datetime
from functools import cache, partial
from typing import Any, TypeVar

from mustwright.errors import InputError, not_plain
from mustwright.texts import kept, say

T = TypeVar("T")
LONGEST_TEXT = 200_000
TOLD = frozenset((
    "name", "words", "caution", "cautions", "protocol_name", "dropped", "message", "notes", "odd",
    "limit", "warnings", "steps",
))  # fmt: skip
GREATEST = 2**31 - 1  # of a whole number that every database can hold


def record_from(cls: type[T], data: object, where: str) -> T:
    """A record of a dataclass from plain data.

    Raises
    ------
    InputError
        Naming the first field that is missing, unknown or of another type.
    """
    if not isinstance(data, Mapping):
        raise InputError(where, say("needs a table of named values"), data)
    readers = _readers(typing.cast(Any, cls))
    for name in data:
        if name not in readers:
            known = ", ".join(readers)
            raise InputError(
                f"{where}.{name}", say("is not known; known: {known}", known=known), data[name]
            )
    values = {}
    for name, (read, is_needed) in readers.items():
        if name in data:
            values[name] = read(data[name], f"{where}.{name}")
        elif is_needed:
            raise InputError(f"{where}.{name}", say("is needed"), "nothing")
    return cls(**values)


Reader = Callable[[Any, str], Any]


@cache
def _readers(cls: type) -> dict[str, tuple[Reader, bool]]:
    """For each field how its value is read, and whether it must be there."""
    hints = typing.get_type_hints(cls)
    return {
        f.name: (
            partial(_told, _reader(hints[f.name])) if f.name in TOLD else _reader(hints[f.name]),
            f.default is MISSING and f.default_factory is MISSING,
        )
        for f in fields(cls)
    }


def _told(read: Reader, value: Any, where: str) -> Any:
    """What the tool said, and not the maker: other languages know it again by its wording."""
    found = read(value, where)
    if isinstance(found, tuple):
        return tuple(map(kept, found))
    return kept(found) if isinstance(found, str) else found


def _reader(hint: Any) -> Reader:
    """How a value of a type is read; worked out once, since logs hold many thousands."""
    origin, args = typing.get_origin(hint), typing.get_args(hint)
    if origin in (typing.Union, types.UnionType):
        (inner,) = [_reader(a) for a in args if a is not type(None)]
        return lambda value, where: None if value is None else inner(value, where)
    if origin is tuple:
        return partial(_items, _reader(args[0]))
    if origin is not None and issubclass(origin, Mapping):
        return partial(_mapping, _reader(args[1]))
    if is_dataclass(hint):
        return partial(record_from, hint)  # type: ignore[arg-type]
    return SCALARS.get(hint, lambda value, _where: value)


def _items(read: Reader, value: Any, where: str) -> tuple[Any, ...]:
    if not isinstance(value, list):
        raise InputError(where, say("needs a list"), value)
    return tuple(read(one, f"{where}[{i}]") for i, one in enumerate(value))


def _mapping(read: Reader, value: Any, where: str) -> dict[str, Any]:
    if not isinstance(value, Mapping):
        raise InputError(where, say("needs a table of named values"), value)
    return {str(k): read(v, f"{where}.{k}") for k, v in value.items()}


def _float(value: Any, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise InputError(where, say("needs a number"), value)
    try:
        found = float(value)
    except OverflowError:
        found = math.inf
    if not math.isfinite(found):
        raise InputError(where, say("needs a number"), say("infinity or none"))
    return found


def _int(value: Any, where: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or abs(value) > GREATEST:
        raise InputError(where, say("needs a whole number"), value)
    return value


def _bool(value: Any, where: str) -> bool:
    if not isinstance(value, bool):
        raise InputError(where, say("needs true or false"), value)
    return value


def _text(value: Any, where: str) -> str:
    if not isinstance(value, str) or len(value) > LONGEST_TEXT:
        raise InputError(where, say("needs text"), value)
    if wrong := not_plain(value):
        raise InputError(where, say("needs plain text"), wrong)
    return value


def moment_from(value: object, where: str) -> datetime:
    """A moment with its zone, from ISO 8601 text such as ``2031-05-01T18:00:00+02:00``."""
    try:
        moment = datetime.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None or not 1970 <= moment.year <= 9000:
        needs = say("needs a date and time with its zone, such as '2031-05-01T18:00:00+02:00'")
        raise InputError(where, needs, value)
    return moment


SCALARS: dict[Any, Reader] = {
    float: _float,
    int: _int,
    bool: _bool,
    str: _text,
    datetime: moment_from,
}
