"""How is a figure shown on a page: rounded for the eye, with its range, and unfolded on demand."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache

from mustwright import data
from mustwright.figure import Figure, source_words
from mustwright.input_names import input_words
from mustwright.languages import here
from mustwright.must.gravity_text import gravity_number, gravity_sign
from mustwright.planning.days_text import days_number
from mustwright.planning.hours_text import clock
from mustwright.texts import join, say
from mustwright.unit_system import METRIC, UnitSystem, current, number_in, unit_for
from mustwright.weighing import grams_on_scale

DECIMALS = {
    "of 100": 0,
    "share": 2,
    "kg": 2,
    "L": 2,
    "g": 1,
    "mL": 0,
    "SG": 3,
    "SG 20/20": 3,
    "Brix": 1,
    "Plato": 2,
    "Oechsle": 1,
    "Baume": 2,
    "KMW": 2,
    "% vol": 1,
    "mg N/L": 0,
    "pH": 1,
    "g/L": 2,
    "kg/m3": 1,
    "money": 2,
    "tsp": 1,
    "h": 0,
    "C": 1,
    "nD": 4,
    "% water": 1,
    "g/L sugar": 1,
}
MUST_SCALE = "SG 20/20"  # said on the scale chosen; a plain SG is one of several in a table
SHARES = ("chance", "of the sugar used")
UNIT_SHOWN = {
    "chance": "",
    "SG 20/20": "",
    "SG": "",
    "C": "°C",
    "F": "°F",
    "lb": "",
    "money": "",
    "kg/m3": "kg/m³",
    "days": say("days"),
    "per day": say("per day"),
    "meq/L per pH": say("meq/L per pH"),
}
NARROWEST = 0.015  # a range under 1.5 % is noise beside what a maker can weigh or measure


def number(value: float, unit: str = "") -> str:
    """A value rounded as its unit is read.

    Examples
    --------
    >>> number(1.09512, "SG 20/20"), number(0.0314, "mg/L"), number(12.0, "g")
    ('1.095', '0.031', '12.0')
    >>> number(0.014, "chance"), number(float("inf"), "days"), number(0.001, "g/L")
    ('1 %', 'over 42', '0')
    """
    if unit == "days":
        return days_number(value)
    if not math.isfinite(value):
        return say("never")
    if unit in SHARES:
        return say("{value:.0f} %", value=100 * value)
    if unit in DECIMALS:
        if unit == "g" and 0 < abs(value) < 1:
            return say("{value:.2g}", value=value)
        if unit == "mL" and 0 < abs(value) < 20:
            return say("{value:g}", value=float(f"{value:.1f}"))
        if unit == "g/L" and abs(value) < 0.005:
            return "0"
        if unit == "g/L" and abs(value) >= 20:
            return say("{value:.0f}", value=value)
        return say("{value:.{digits}f}", value=value, digits=DECIMALS[unit])
    if value == 0:
        return "0"
    if abs(value) >= 1000:
        return f"{value:,.0f}".replace(",", " ")
    digits = f"{value:.2g}" if abs(value) < 1 else f"{value:.3g}"
    return say("{value:g}", value=float(digits))


def said(figure: Figure, units: UnitSystem | None = None) -> str:
    """A figure with its unit, in a system or in the one that holds here."""
    unit = unit_for(figure.value, figure.unit, units or current())
    sign = gravity_sign(units) if figure.unit == MUST_SCALE else ""
    shown = sign or UNIT_SHOWN.get(unit, unit)
    return join(" ", (said_number(figure, figure.value, units), shown)).strip()


def said_number(figure: Figure, value: float, units: UnitSystem | None = None) -> str:
    """A figure's value, or an end of its range, in the unit in which the figure is said."""
    unit = unit_for(figure.value, figure.unit, units or current())
    if figure.unit == MUST_SCALE and math.isfinite(value):
        return gravity_number(value, spoken=units)
    step = figure.inputs.get("scale_step_g")
    if unit == figure.unit == "g" and isinstance(step, float):
        return grams_on_scale(value, step)
    if unit == figure.unit or not math.isfinite(value):
        return number(value, figure.unit)
    return number_in(value, figure.unit, unit)


def spread(figure: Figure) -> str:
    """The range a figure carries, in words; empty without one, or where it is too narrow."""
    if figure.low is None or figure.high is None:
        return ""
    low, high = (said_number(figure, end) for end in (figure.low, figure.high))
    narrow = not figure.unit.startswith("SG") and (
        figure.high - figure.low < NARROWEST * abs(figure.value)
    )
    return "" if low == high or narrow else say("{low} to {high}", low=low, high=high)


def clock_range(figure: Figure) -> str:
    """Between which hours after pitch; empty for a feed by the clock."""
    if figure.low is None or figure.high is None or figure.high - figure.low < 1:
        return ""
    return say("{low} to {high}", low=clock(figure.low), high=clock(figure.high))


def place_words(place: str) -> str:
    """The last part of a figure's place in a result, in words.

    Examples
    --------
    >>> place_words("nitrogen.demand_mg_l"), place_words("feeds[1].items[0].grams")
    ('demand', 'grams')
    """
    return input_words(place.rsplit(".", 1)[-1])


@cache
def bibliography() -> Mapping[str, Mapping[str, str]]:
    """Every document the tool takes values from, by key."""
    return data.load("bibliography")


def source_parts(source: str) -> list[tuple[str, str]]:
    """A source cut into pieces: (text, bibliography key or empty)."""
    pieces = re.split(r"([A-Za-z]\w+)", here(source_words(source)))
    return [(p, p if p in bibliography() else "") for p in pieces if p]


@dataclass(frozen=True)
class WorkingStep:
    """One figure of a working, with its direct inputs as (name, shown value, number of it)."""

    number: int
    names: list[str]
    figure: Figure
    inputs: list[tuple[str, str, int | None]]


@dataclass
class FigureList:
    """Every different figure of a result, numbered once however often it is used."""

    steps: list[WorkingStep] = field(default_factory=list)
    _numbers: dict[object, int] = field(default_factory=dict)
    _seen: dict[int, tuple[Figure, int]] = field(default_factory=dict)

    @classmethod
    def over(cls, working: Iterable[tuple[str, Figure]]) -> FigureList:
        """Number figures in the order of a result."""
        ledger = cls()
        for place, figure in working:
            ledger.number(figure, place)
        return ledger

    def number(self, figure: Figure, name: str = "") -> int:
        """The number of a figure; it and its inputs are entered when new."""
        if id(figure) in self._seen:
            found = self._seen[id(figure)][1]
            self._name(found, name)
            return found
        inputs: list[tuple[str, str, int | None]] = [
            (input_words(label), said(made, METRIC), self.number(made, input_words(label)))
            if isinstance(made, Figure)
            else (input_words(label), plain(made), None)
            for label, made in figure.inputs.items()
        ]
        key = (figure.value, figure.unit, figure.formula, figure.source, str(inputs))
        if key not in self._numbers:
            self._numbers[key] = len(self.steps) + 1
            self.steps.append(WorkingStep(len(self.steps) + 1, [], figure, inputs))
        found = self._numbers[key]
        self._seen[id(figure)] = (figure, found)
        self._name(found, name)
        return found

    def step(self, figure: Figure) -> WorkingStep:
        """The entry of a figure."""
        return self.steps[self.number(figure) - 1]

    def _name(self, found: int, name: str) -> None:
        names = self.steps[found - 1].names
        if name and name not in names:
            names.append(name)


def plain(made: float | str) -> str:
    """An input that is no figure, as text."""
    return made if isinstance(made, str) else number(float(made))
