"""One finishing step as text for a terminal or a printer."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from typing import Any

from mustwright.bench.answer_text import answer
from mustwright.bench.as_json import step_shape
from mustwright.bench.field_text import shown, words
from mustwright.figure import Figure

SIDE = ("additions", "after", "steps", "notes", "cautions")


def step_lines(result: object) -> Iterator[str]:
    """The step from top to bottom: answer, figures, tables, what to do, what to mind."""
    yield answer(result)
    yield ""
    shape = step_shape(result)
    for name, value in shape.items():
        if name not in SIDE:
            yield from _entry(name, value)
    for title, name, mark in (("Do", "steps", "[ ] "), ("Mind", "notes", "- ")):
        if shape[name]:
            yield ""
            yield title
            yield from (f"  {mark}{line}" for line in shape[name])
    if shape["cautions"]:
        yield ""
        yield "Caution"
        yield from (f"  ! {line}" for line in shape["cautions"])


def _entry(name: str, value: object) -> Iterator[str]:
    if value is None or value == "" or value == ():
        return
    if isinstance(value, Figure):
        yield f"{words(name)}: {shown(value)}"
    elif isinstance(value, bool):
        yield f"{words(name)}: {'yes' if value else 'no'}"
    elif isinstance(value, (str, int, float)):
        yield f"{words(name)}: {value}"
    elif is_dataclass(value) and not isinstance(value, type):
        yield f"{words(name)}"
        for one in fields(value):
            yield from (f"  {line}" for line in _entry(one.name, getattr(value, one.name)))
    elif isinstance(value, Sequence):
        yield f"{words(name)}"
        yield from (f"  {line}" for line in _table(value))


def _table(rows: Sequence[Any]) -> Iterator[str]:
    """Rows under one heading; text rows as they stand."""
    if not is_dataclass(rows[0]):
        yield from (f"- {row}" for row in rows)
        return
    names = [f.name for f in fields(rows[0]) if any(_cell(getattr(r, f.name)) for r in rows)]
    cells = [[words(n) for n in names]]
    cells += [[_cell(getattr(row, name)) for name in names] for row in rows]
    widths = [max(len(row[i]) for row in cells) for i in range(len(names))]
    for row in cells:
        texts = zip(row, widths, strict=True)
        yield "  ".join(text.ljust(width) for text, width in texts).rstrip()


def _cell(value: object) -> str:
    if isinstance(value, Figure):
        return shown(value, ranged=False)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.5g}"
    if isinstance(value, Mapping):
        return ""
    return "" if value is None else str(value)
