"""How a step's result is laid out: its figures, its tables, and what to do and to mind."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any

from markupsafe import Markup, escape

from mustwright.bench.answer_text import answer
from mustwright.bench.as_json import step_working
from mustwright.bench.field_text import words
from mustwright.figure import Figure
from mustwright.finishing.blending import Reached
from mustwright.finishing.bottling import Bottling, Filled
from mustwright.finishing.label_facts import LabelFacts, volume_text
from mustwright.finishing.step import Recorded
from mustwright.finishing.trial import BenchTrial
from mustwright.web.pages.figures import FigureList

Cell = Figure | str
# Said in the answer already, or of no use to a reader.
UNSAID = {
    "substance", "sweetener", "sugar_name", "words", "bottled", "verdict", "next_check", "salt",
    "recorded", "id",
}  # fmt: skip
NOT_WHEN_NONE = ("potassium_mg_l", "sodium_mg_l", "gas_l")
TITLES = {
    "containers": "What bears it",
    "materials": "Lay out",
    "parts": "What goes in",
    "reasons": "Why",
}
HEADS = {
    "stock_ml": "Stock for the glass",
    "dose_g_l": "Dose",
    "batch_g": "For the batch",
    "dilution_pct": "Thinned by",
    "working_bar": "Working pressure",
    "bears": "Bears it",
    "most_volumes": "At most",
    "litres": "Litres",
    "why": "Because",
}
LABEL_ROWS = {
    "name": "Name",
    "kind": "What it is",
    "alcohol": "Alcohol",
    "volume": "Volume",
    "sulfite": "Sulfite",
    "contents": "Made of",
    "lot": "Lot",
    "maker": "Maker",
    "date_line": "Date",
    "warning": "Warning",
}


@dataclass
class Table:
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
class View:
    """A result ready for the page."""

    answer: str
    figures: list[tuple[str, Figure]] = field(default_factory=list)
    facts: list[tuple[str, str]] = field(default_factory=list)
    tables: list[Table] = field(default_factory=list)
    reasons: tuple[str, ...] = ()
    label: list[tuple[str, str]] = field(default_factory=list)
    recorded: Recorded = field(default_factory=Recorded)


def view_of(result: Any) -> View:
    """A step's result as figures, facts and tables."""
    view = View(answer(result), recorded=result.recorded)
    for one in fields(result):
        value = getattr(result, one.name)
        if one.name in UNSAID or value is None or value in ("", ()):
            continue
        if one.name in NOT_WHEN_NONE and value.value == 0:
            continue
        if isinstance(value, Figure):
            view.figures.append((words(one.name), value))
        elif isinstance(value, bool):
            view.facts.append((words(one.name), "yes" if value else "no"))
        elif isinstance(value, str):
            view.facts.append((words(one.name), value))
        elif isinstance(value, BenchTrial):
            view.tables.append(_trial(value))
        elif one.name == "reasons":
            view.reasons = value
        elif one.name == "targets":
            view.tables.append(_targets(value))
        elif one.name == "bottles":
            view.tables.append(_bottles(value))
        elif one.name != "labels":
            view.tables.append(_table(TITLES[one.name], value))
    if isinstance(result, Bottling):
        view.label = _label(result.labels)
    return view


def _trial(trial: BenchTrial) -> Table:
    table = _table("Glasses to taste", trial.glasses)
    table.caption = (
        f"Stock: {trial.stock}. Each glass {trial.glass_ml:g} mL, the stock measured to "
        f"{trial.pipette_ml:g} mL; the dose is worked back from what the pipette shows."
    )
    return table


def _targets(rows: Sequence[Reached]) -> Table:
    heads = ["Target", "Wanted", "Reached", "Off by", "Alone these lots could give"]
    return Table("Targets", heads, [
        [
            one.quantity.replace("so2", "total SO2"),
            _from_to(one.wanted_low, one.wanted_high),
            one.reached,
            "met" if one.met else one.off_by,
            _from_to(one.possible_low, one.possible_high),
        ]
        for one in rows
    ])  # fmt: skip


def _from_to(low: float, high: float) -> str:
    ends = [f"{value:.5g}" for value in (low, high)]
    return ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"


def _bottles(rows: Sequence[Filled]) -> Table:
    cells: list[list[Cell]] = [[volume_text(b.litres), b.count, b.filled_l] for b in rows]
    return Table("Bottles", ["Size", "Count", "Filled"], cells)


def _table(title: str, rows: Sequence[Any]) -> Table:
    names = [
        f.name
        for f in fields(rows[0])
        if f.name not in UNSAID and any(_tells(getattr(row, f.name)) for row in rows)
    ]
    heads = [HEADS.get(name, words(name)) for name in names]
    return Table(title, heads, [[_cell(getattr(row, name)) for name in names] for row in rows])


def _tells(value: object) -> bool:
    """Whether a column says anything: a figure of none does not."""
    return value.value != 0 if isinstance(value, Figure) else bool(_cell(value))


def _cell(value: object) -> Cell:
    if isinstance(value, Figure):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}"
    return "" if value is None else str(value)


def _label(labels: Sequence[LabelFacts]) -> list[tuple[str, str]]:
    """What every label says, by line; where sizes differ, each."""
    rows = []
    for name, title in LABEL_ROWS.items():
        said = list(dict.fromkeys(getattr(one, name) for one in labels))
        if any(said):
            rows.append((title, "; ".join(said)))
    return rows


def ledger_of(result: object) -> FigureList:
    """Every figure of a result, numbered in the order it is met."""
    return FigureList.over(
        (_place(place), figure) for place, figure in step_working(result).items()
    )


def _place(place: str) -> str:
    """Where a figure stands, in words: ``trial.glasses[2].stock_ml`` is glass 3 of the trial."""
    parts = []
    for part in place.split("."):
        name, _, index = part.partition("[")
        said = words(name).lower()
        parts.append(f"{said} {int(index.rstrip(']')) + 1}" if index else said)
    return ", ".join(parts)


def linked(text: str, addresses: Mapping[str, str]) -> Markup:
    """Text in which ``finish sulfite`` leads to that step."""
    safe = str(escape(text))

    def link(found: re.Match[str]) -> str:
        href = addresses.get(found[1])
        return found[0] if href is None else f'<a href="{escape(href)}">the {found[1]} step</a>'

    return Markup(re.sub(r"finish (\w+)", link, safe))
