"""What does a TOML text say, if it is of a size and depth that a person could have written?"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any

from mustwright.errors import InputError, not_plain
from mustwright.texts import say

LONGEST, DEEPEST, MOST_VALUES = 100_000, 12, 5_000
GREATEST = 2**63 - 1


def toml_table(text: str, field: str) -> dict[str, Any]:
    """The tables of a TOML text.

    Parameters
    ----------
    field : str
        Where the text stands, for the error.

    Raises
    ------
    InputError
        If it is no TOML, or is longer than 100 kB, nested deeper than 12 tables, holds more than
        5,000 values, a number beyond 64 bits, or a character that cannot be kept.

    Examples
    --------
    >>> toml_table('volume = "19 L"', "sheet")
    {'volume': '19 L'}
    """
    if len(text) > LONGEST:
        raise InputError(
            field,
            say("needs a text of at most {most} characters", most=LONGEST),
            f"{len(text)}",
        )
    if any(_is_deep_key(line) for line in text.splitlines()):
        raise InputError(
            field, say("needs at most {most} tables in one another", most=DEEPEST), say("more")
        )
    try:
        content = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # also absurdly long numbers and deep nesting
        raise InputError(field, say("needs valid TOML"), str(error)) from None
    _refuse_what_nobody_wrote(content, field)
    return content


def table_in(text: str, name: str) -> Mapping[str, Any]:
    """One table of a TOML text; empty where there is none, or where the text cannot be read."""
    try:
        found = toml_table(text, name).get(name)
    except InputError:
        return {}
    return found if isinstance(found, dict) else {}


def _is_deep_key(line: str) -> bool:
    """Whether a line begins with a key of too many parts: a parser takes long over these."""
    head = line.partition("=")[0].strip().strip("[]")
    parts = head.split(".")
    return (
        len(parts) > DEEPEST
        and all(part and not part.isspace() for part in parts)
        and (len(head.split()) == 1)
    )


def _refuse_what_nobody_wrote(content: dict[str, Any], field: str) -> None:
    """Walk through everything without recursion, since it may be as deep as it likes."""
    waiting: list[tuple[Any, int]] = [(content, 1)]
    count = 0
    while waiting:
        value, depth = waiting.pop()
        inside = value if isinstance(value, list) else ()
        if isinstance(value, dict):
            inside = [*value.keys(), *value.values()]
        count += len(inside)
        if depth > DEEPEST and inside:
            raise InputError(
                field, say("needs at most {most} tables in one another", most=DEEPEST), say("more")
            )
        if count > 2 * MOST_VALUES:
            raise InputError(
                field, say("needs at most {most} values", most=MOST_VALUES), say("more")
            )
        if isinstance(value, int) and abs(value) > GREATEST:
            raise InputError(field, say("needs numbers of at most 18 digits"), say("a longer one"))
        if isinstance(value, str) and (wrong := not_plain(value)):
            raise InputError(field, say("needs plain text"), wrong)
        waiting += [(one, depth + 1) for one in inside]
