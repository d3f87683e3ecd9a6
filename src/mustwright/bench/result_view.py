"""How a step's result is laid out for a reader, on a page as on paper: figures, facts, tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from typing import Any

from mustwright.bench.field_text import words
from mustwright.bench.step_table import answer
from mustwright.figure import Figure
from mustwright.finishing.blending import Reached
from mustwright.finishing.bottling import Filled
from mustwright.finishing.label_facts import LabelFacts, volume_text
from mustwright.finishing.step import Recorded
from mustwright.finishing.trial import BenchTrial
from mustwright.texts import join, say

Cell = Figure | str
# Said in the answer already, or of no use to a reader.
UNSAID = {
    "substance", "sweetener", "sugar_name", "words", "bottled", "verdict", "next_check", "salt",
    "recorded", "id", "labels",
}  # fmt: skip
TITLES = {
    "containers": say("What holds the pressure"),
    "materials": say("Lay out"),
    "parts": say("What goes in"),
    "trial": say("Glasses to taste"),
}
QUANTITIES = {
    "alcohol": say("alcohol", context="of a blend"),
    "gravity": say("gravity", context="of a blend"),
    "acidity": say("acidity", context="of a blend"),
    "so2": say("total sulfur dioxide"),
    "sugar": say("sugar", context="of a blend"),
    "colour": say("colour", context="of a blend"),
}
NOT_WHEN_NONE = ("potassium_mg_l", "sodium_mg_l", "gas_l")
LABEL_ROWS = (
    "name", "kind", "alcohol", "volume", "sulfite", "contents", "lot", "maker", "date_line",
    "warning",
)  # fmt: skip


@dataclass
class ResultTable:
    """Rows under one title; wide ones become blocks on a phone."""

    title: str
    heads: list[str]
    rows: list[list[Cell]]
    caption: str = ""

    @property
    def wide(self) -> bool:
        """Whether it needs blocks on a phone."""
        return len(self.heads) > 4 or any(
            isinstance(c, str) and len(c) > 24 for row in self.rows for c in row[1:]
        )


@dataclass
class ResultView:
    """A result ready for a reader."""

    answer: str
    recorded: Recorded
    figures: list[tuple[str, Figure]] = field(default_factory=list)
    facts: list[tuple[str, str]] = field(default_factory=list)
    tables: list[ResultTable] = field(default_factory=list)
    reasons: tuple[str, ...] = ()
    label: list[tuple[str, str]] = field(default_factory=list)


def view_of(result: Any) -> ResultView:
    """A step's result as figures, facts and tables."""
    view = ResultView(answer(result), result.recorded, reasons=getattr(result, "reasons", ()))
    for one in fields(result):
        name, value = one.name, getattr(result, one.name)
        if name in UNSAID or value is None or value in ("", ()):
            continue
        if isinstance(value, Figure):
            if value.value or name not in NOT_WHEN_NONE:
                view.figures.append((words(name), value))
        elif isinstance(value, bool | str):
            view.facts.append((words(name), _text(value)))
        elif name != "reasons":
            view.tables.append(_TABLES.get(name, _table)(TITLES.get(name, words(name)), value))
    view.label = _label(getattr(result, "labels", ()))
    return view


def _trial(title: str, trial: BenchTrial) -> ResultTable:
    table = _table(title, trial.glasses)
    table.caption = say(
        "Stock: {stock}. Each glass holds {glass_ml:g} mL; measure the stock to {pipette_ml:g} mL. "
        "The dose is worked out from that volume.",
        stock=trial.stock,
        glass_ml=trial.glass_ml,
        pipette_ml=trial.pipette_ml,
    )
    return table


def _targets(title: str, rows: Sequence[Reached]) -> ResultTable:
    heads: list[str] = [
        say("Target", context="of a blend"),
        say("Wanted", context="of a blend"),
        say("Reached", context="of a blend"),
        say("Off by"),
        say("Range these parts allow"),
    ]
    return ResultTable(title, heads, [
        [
            QUANTITIES.get(one.quantity, one.quantity),
            _from_to(one.wanted_low, one.wanted_high),
            one.reached,
            say("met", context="a target") if one.met else one.off_by,
            _from_to(one.possible_low, one.possible_high),
        ]
        for one in rows
    ])  # fmt: skip


def _from_to(low: float, high: float) -> str:
    from_, to = (say("{value:.5g}", value=value) for value in (low, high))
    return from_ if from_ == to else say("{low} to {high}", low=from_, high=to)


def _bottles(title: str, rows: Sequence[Filled]) -> ResultTable:
    cells: list[list[Cell]] = [[volume_text(b.litres), b.count, b.filled_l] for b in rows]
    return ResultTable(
        title, [say("Size", context="of a bottle"), words("count"), words("filled_l")], cells
    )


def _table(title: str, rows: Sequence[Any]) -> ResultTable:
    names = [
        f.name
        for f in fields(rows[0])
        if f.name not in UNSAID and any(_tells(getattr(row, f.name)) for row in rows)
    ]
    cells = [[cell(getattr(row, name)) for name in names] for row in rows]
    return ResultTable(title, [words(name) for name in names], cells)


_TABLES: dict[str, Any] = {"trial": _trial, "targets": _targets, "bottles": _bottles}


def _tells(value: object) -> bool:
    """Whether a column says anything: a figure of none does not."""
    return value.value != 0 if isinstance(value, Figure) else bool(cell(value))


def cell(value: object) -> Cell:
    """A value as it stands in a table."""
    if isinstance(value, Figure):
        return value
    if isinstance(value, bool):
        return _text(value)
    if isinstance(value, float):
        return say("{value:.4g}", value=value)
    if isinstance(value, str):
        return value
    return "" if value is None else str(value)


def _text(value: bool | str) -> str:
    if isinstance(value, bool):
        return say("yes") if value else say("no")
    return value


def _label(labels: Sequence[LabelFacts]) -> list[tuple[str, str]]:
    """What every label says, by line; where sizes differ, each."""
    said = {name: dict.fromkeys(getattr(one, name) for one in labels) for name in LABEL_ROWS}
    return [(words(name), join("; ", texts)) for name, texts in said.items() if any(texts)]
