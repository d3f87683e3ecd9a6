"""How a step's result is laid out: its figures, its tables, and what to do and to mind."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any

from markupsafe import Markup, escape

from mustwright.finishing.bottling import Bottling
from mustwright.finishing.label_facts import LabelFacts
from mustwright.finishing.step import Recorded
from mustwright.finishing.trial import BenchTrial
from mustwright.services.finish.answer import answer
from mustwright.services.finish.report import step_working
from mustwright.services.finish.words import words
from mustwright.web.pages.figures import Ledger
from mustwright.working import Figure

Cell = Figure | str
# Said in the answer already, or of no use to a reader.
UNSAID = {
    "substance", "sweetener", "sugar_name", "words", "bottled", "verdict", "next_check", "salt",
    "recorded", "id",
}  # fmt: skip
TITLES = {
    "containers": "What bears it",
    "bottles": "Bottles",
    "materials": "Lay out",
    "parts": "What goes in",
    "targets": "Targets",
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
    "wanted_low": "Wanted from",
    "wanted_high": "to",
    "possible_low": "Alone possible from",
    "possible_high": "up to",
    "why": "",
    "filled_l": "Filled",
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
            isinstance(c, str) and len(c) > 24 for row in self.rows for c in row
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


def _table(title: str, rows: Sequence[Any]) -> Table:
    names = [
        f.name
        for f in fields(rows[0])
        if f.name not in UNSAID and any(_cell(getattr(row, f.name)) for row in rows)
    ]
    heads = [HEADS.get(name, words(name)) for name in names]
    return Table(title, heads, [[_cell(getattr(row, name)) for name in names] for row in rows])


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


def ledger_of(result: object) -> Ledger:
    """Every figure of a result, numbered in the order it is met."""
    return Ledger.over((_place(place), figure) for place, figure in step_working(result).items())


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
        return found[0] if href is None else f'<a href="{escape(href)}">{found[1]}</a>'

    return Markup(re.sub(r"finish (\w+)", link, safe))
