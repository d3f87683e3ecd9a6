"""One finishing step as text for a terminal or a printer."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from typing import Any

from mustwright.services.finish.report import step_shape
from mustwright.working import Figure

SIDE = ("additions", "after", "steps", "notes", "cautions")
WORDS = {
    "free_so2_mg_l": "Free sulfur dioxide wanted",
    "free_to_add_mg_l": "Free still missing",
    "total_after_mg_l": "Total sulfur dioxide after",
    "legal_total_mg_l": "Legal limit of the total",
    "legal_sorbic_mg_l": "Legal limit of sorbic acid",
    "handout_free_so2_mg_l": "Free by the usual handout, to compare",
    "declare": "On the label",
    "co2_if_fermented_g_l": "Gas if it ferments",
    "gas_if_it_wakes_vol": "Gas if it wakes",
    "chance_moving": "Chance that it still moves",
    "chance_past_tolerance": "Chance that alcohol is past its limit",
    "pressure_bar_20c": "Pressure at 20 C",
    "pressure_bar_30c": "Pressure at 30 C, if forgotten in the warm",
    "keg_bar": "Set on the keg",
    "residual_co2_volumes": "Gas still in it",
    "target_co2_volumes": "Gas wanted",
    "next_check_days": "Next check in",
    "new_ph": "New pH, a first guess",
    "ph_after": "pH after, a first guess",
    "kg": "To add",
    "sugar_g": "Sugar to weigh",
    "sugar_g_l": "Sugar per litre",
    "potential_alcohol_pct": "If yeast ate the sweetness, alcohol would rise by",
    "ready": "Protected, may go in now",
    "lees_l": "Left with the lees",
    "way_l": "Left on the way",
}
UNITS_IN_NAMES = (
    "_pct", "_g_l", "_mg_l", "_l", "_g", "_ml", "_bar", "_kg", "_vol", "_per_day", "_days",
)  # fmt: skip
DECIMALS = {"SG 20/20": 4, "% vol": 2, "%": 1, "L": 2, "mg/L": 1, "g/L": 2, "vol": 2, "bar": 2,
            "mL": 1, "d": 0, "bottles": 0, "tablets": 0, "kg": 3, "meq/L per pH": 1}  # fmt: skip


def step_lines(result: object) -> Iterator[str]:
    """The step from top to bottom: figures, tables, what to do, what to mind."""
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


def words(name: str) -> str:
    """A field's name as a person would say it."""
    if name in WORDS:
        return WORDS[name]
    for suffix in UNITS_IN_NAMES:
        if name.endswith(suffix) and len(name) > len(suffix):
            name = name[: -len(suffix)]
            break
    text = name.replace("_", " ").replace("so2", "SO2").replace("co2", "CO2")
    return text[:1].upper() + text[1:]


def shown(figure: Figure, ranged: bool = True) -> str:
    """A figure with its unit and, where it has one, its range."""
    places = DECIMALS.get(figure.unit)

    def text(number: float) -> str:
        return f"{number:.4g}" if places is None else f"{number:.{places}f}"

    spread = ""
    if ranged and figure.low is not None and figure.high is not None:
        low, high = text(figure.low), text(figure.high)
        spread = f" ({low} to {high})" if low != high else ""
    return f"{text(figure.value)} {figure.unit}".strip() + spread
