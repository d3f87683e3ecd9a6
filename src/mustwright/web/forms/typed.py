"""What was typed: single fields and numbered rows of a form, kept as they came.

Only the decimal comma of a language that has one becomes a point.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import tomlkit
from fastapi import Request
from tomlkit.items import Float, Item, Trivia

from mustwright.errors import InputError, not_plain
from mustwright.texts import capital, say
from mustwright.units import plainly_typed

_ROW = re.compile(r"([a-z]+)\.(\d{1,3})\.([a-z_]+)")
_NUMBER = re.compile(r"-?(?:0|[1-9]\d{0,17})(?:\.\d{1,17})?", re.ASCII)
LONGEST = 20_000
# What a maker says in words; every other field that begins like an amount holds one.
IN_WORDS = frozenset((
    "name", "note", "text", "caption", "q", "question", "meads", "account", "assumes", "address",
    "next_time", "initials", "passphrase", "noticed", "why", "maker", "who", "id",
))  # fmt: skip
_AMOUNT = re.compile(r"[-+<>]?\s?[\d.,]+[^\n]{0,60}")


@dataclass
class TypedForm:
    """Fields by name, rows in order, and every value of fields that may come several times."""

    fields: dict[str, str] = field(default_factory=dict)
    rows: list[dict[str, str]] = field(default_factory=list)
    many: dict[str, list[str]] = field(default_factory=dict)

    def get(self, name: str, otherwise: str = "") -> str:
        """One field."""
        return self.fields.get(name, otherwise)


async def posted(request: Request) -> TypedForm:
    """The form of a request."""
    form = await request.form(max_files=0, max_fields=2000)
    return typed_from((name, value) for name, value in form.multi_items() if isinstance(value, str))


def typed_from(pairs: Iterable[tuple[str, str]]) -> TypedForm:
    """Fields and rows out of names such as ``volume`` and ``portion.2.kind``."""
    typed = TypedForm()
    numbered: dict[int, dict[str, str]] = {}
    for name, value in pairs:
        if wrong := not_plain(value) or not_plain(name):
            raise InputError(
                name if not not_plain(name) else "form", say("needs plain text"), wrong
            )
        value = as_kept(name, value.replace("\r\n", "\n")[:LONGEST])
        row = _ROW.fullmatch(name)
        if row:
            numbered.setdefault(int(row[2]), {})[row[3]] = value
        else:
            typed.fields[name] = value
            typed.many.setdefault(name, []).append(value)
    typed.rows = [numbered[i] for i in sorted(numbered)]
    return typed


def as_kept(name: str, value: str) -> str:
    """What a field holds, an amount with a decimal point: so it reads alike in every language.

    Examples
    --------
    >>> as_kept("volume", "19,5 L"), as_kept("note", "1,5 g")
    ('19,5 L', '1,5 g')
    >>> from mustwright.languages import language_called, speaking
    >>> with speaking(language_called("de")):
    ...     as_kept("volume", "19,5 L"), as_kept("gravity", "1,100"), as_kept("note", "1,5 g")
    ('19.5 L', '1.100', '1,5 g')
    """
    if name.rpartition(".")[2] in IN_WORDS or not _AMOUNT.fullmatch(value):
        return value
    return plainly_typed(value)


def number_of(typed: TypedForm, field: str) -> int:
    """The number a form came with: a version that it was filled from.

    Raises
    ------
    InputError
    """
    text = typed.get(field)
    if not text.isdecimal() or len(text) > 12:
        raise InputError(field, say("needs the number the form came with"), text)
    return int(text)


def shown(value: object) -> str:
    """A TOML value as a field shows it; tables and lists do not fit into one."""
    if value is None or isinstance(value, (dict, list)):
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Item) and isinstance(value, (int, float)):
        return value.as_string()
    return str(value)


def put(table: Any, key: str, text: str, numeric: bool = False) -> None:
    """Write a field into a TOML table, as a number where it holds one; empty removes it."""
    text = text.strip()
    if not text:
        table.pop(key, None)
        return
    numeral = text.replace(",", ".") if numeric else ""
    if _NUMBER.fullmatch(numeral):
        table[key] = (
            Float(float(numeral), Trivia(), numeral) if "." in numeral else tomlkit.integer(numeral)
        )
    else:
        table[key] = tomlkit.string(text)


def said(error: InputError) -> str:
    """An error beside its field: what is required, and what came."""
    requirement = capital(error.requirement)
    got = " ".join(str(error.got).split())
    if error.got is None or not got:
        return say("{requirement}. Nothing was typed.", requirement=requirement)
    return say("{requirement}. What came: {got}", requirement=requirement, got=got[:120])
