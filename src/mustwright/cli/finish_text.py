"""One finishing step as text for a terminal or a printer."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from mustwright.bench.field_text import shown
from mustwright.bench.result_view import Cell, ResultTable, view_of
from mustwright.figure import Figure
from mustwright.languages import here
from mustwright.texts import say


def step_lines(result: object) -> Iterator[str]:
    """The step from top to bottom: answer, figures, tables, what to do, what to mind."""
    view = view_of(result)
    yield view.answer
    yield ""
    yield from (
        say("{name}: {value}", name=name, value=shown(figure)) for name, figure in view.figures
    )
    yield from (say("{name}: {text}", name=name, text=text) for name, text in view.facts)
    yield from _list(say("Why"), view.reasons, "- ")
    for table in view.tables:
        yield from _list(table.title, _rows(table), "")
    yield from _list(
        say("On the label"),
        (say("{name}: {text}", name=name, text=text) for name, text in view.label),
        "",
    )
    yield from _list(say("Do"), view.recorded.steps, "[ ] ")
    yield from _list(say("Watch out"), view.recorded.notes, "- ")
    yield from _list(say("Caution"), view.recorded.cautions, "! ")


def _list(title: str, lines: Iterable[str], mark: str) -> Iterator[str]:
    """Lines under a heading; nothing where there are none."""
    lines = [say("  {mark}{line}", mark=mark, line=line) for line in lines]
    yield from ("", title, *lines) if lines else ()


def _rows(table: ResultTable) -> Iterator[str]:
    if table.caption:
        yield table.caption
    rows = [table.heads, *([_text(one) for one in row] for row in table.rows)]
    cells = [[here(cell) for cell in row] for row in rows]  # as wide as they are printed
    widths = [max(len(row[i]) for row in cells) for i in range(len(table.heads))]
    for row in cells:
        texts = zip(row, widths, strict=True)
        yield "  ".join(text.ljust(width) for text, width in texts).rstrip()


def _text(value: Cell) -> str:
    return shown(value, ranged=False) if isinstance(value, Figure) else value
