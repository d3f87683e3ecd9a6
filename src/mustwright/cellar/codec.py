"""How does a frozen record become JSON and come back: by the types of its fields, strictly."""

from __future__ import annotations

import math
import types
import typing
from collections.abc import Mapping
from dataclasses import MISSING, fields, is_dataclass
from datetime import datetime
from functools import cache
from typing import Any, TypeVar

from mustwright.errors import InputError

T = TypeVar("T")
LONGEST_TEXT = 200_000


def data_of(value: object) -> Any:
    """Plain data (mappings, lists, text, numbers) of a record."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: data_of(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(k): data_of(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [data_of(v) for v in value]
    return value


def record_from(cls: type[T], data: object, where: str) -> T:
    """A record of a dataclass from plain data.

    Raises
    ------
    InputError
        Naming the first field that is missing, unknown or of another type.
    """
    if not isinstance(data, Mapping):
        raise InputError(where, "needs a table of named values", data)
    hints = _hints(typing.cast(Any, cls))
    for name in data:
        if name not in hints:
            known = ", ".join(hints)
            raise InputError(f"{where}.{name}", f"is not known; known: {known}", data[name])
    values = {}
    for f in fields(cls):  # type: ignore[arg-type]
        if f.name in data:
            values[f.name] = _value(hints[f.name], data[f.name], f"{where}.{f.name}")
        elif f.default is MISSING and f.default_factory is MISSING:
            raise InputError(f"{where}.{f.name}", "is needed", "nothing")
    return cls(**values)


@cache
def _hints(cls: type) -> dict[str, Any]:
    return typing.get_type_hints(cls)


def _value(hint: Any, value: Any, where: str) -> Any:
    origin = typing.get_origin(hint)
    if origin in (typing.Union, types.UnionType):
        if value is None:
            return None
        (inner,) = [a for a in typing.get_args(hint) if a is not type(None)]
        return _value(inner, value, where)
    if origin is tuple:
        return _items(typing.get_args(hint), value, where)
    if origin is not None and issubclass(origin, Mapping):
        return _mapping(typing.get_args(hint)[1], value, where)
    if is_dataclass(hint):
        return record_from(hint, value, where)  # type: ignore[arg-type]
    return _scalar(hint, value, where)


def _items(args: tuple[Any, ...], value: Any, where: str) -> tuple[Any, ...]:
    if not isinstance(value, list):
        raise InputError(where, "needs a list", value)
    return tuple(_value(args[0], one, f"{where}[{i}]") for i, one in enumerate(value))


def _mapping(hint: Any, value: Any, where: str) -> dict[str, Any]:
    if not isinstance(value, Mapping):
        raise InputError(where, "needs a table of named values", value)
    return {str(k): _value(hint, v, f"{where}.{k}") for k, v in value.items()}


def _scalar(hint: Any, value: Any, where: str) -> Any:
    if hint is float:
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise InputError(where, "needs a number", value)
        if not math.isfinite(value):
            raise InputError(where, "needs a finite number", value)
        return float(value)
    if hint is int and (isinstance(value, bool) or not isinstance(value, int)):
        raise InputError(where, "needs a whole number", value)
    if hint is bool and not isinstance(value, bool):
        raise InputError(where, "needs true or false", value)
    if hint is str and (not isinstance(value, str) or len(value) > LONGEST_TEXT):
        raise InputError(where, "needs text", value)
    if hint is datetime:
        return moment_from(value, where)
    return value


def moment_from(value: object, where: str) -> datetime:
    """A moment with its zone, from ISO 8601 text such as ``2031-05-01T18:00:00+02:00``."""
    try:
        moment = datetime.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None or not 1970 <= moment.year <= 9000:
        needs = "needs a date and time with its zone, such as '2031-05-01T18:00:00+02:00'"
        raise InputError(where, needs, value)
    return moment
