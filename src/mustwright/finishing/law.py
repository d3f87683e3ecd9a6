"""What may the finished drink hold, and what must its label say: limits and label rules as data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from mustwright import data
from mustwright.data.list_standing import ListStanding, standings
from mustwright.figure import Figure
from mustwright.texts import say
from mustwright.units import parse_quantity


@dataclass(frozen=True)
class FinishingLimit:
    """One bound on the finished drink, in the base unit of its quantity (g/L, bar, Brix).

    Parameters
    ----------
    every_step : bool
        Whether a step may not pass it, whatever the drink is called in the end.
    makes : str
        What passing it makes of the drink, with the source of that.
    """

    substance: str
    low: float | None
    high: float | None
    unit: str
    statement: str
    source: str
    every_step: bool = False
    makes: str = ""

    def figure(self) -> Figure:
        """The bound as a figure, in the unit it is printed in."""
        value = self.high if self.high is not None else self.low
        assert value is not None
        factor = 1000.0 if self.unit == "mg/L" else 1.0
        return Figure(value * factor, self.unit, self.statement, self.source)


@dataclass(frozen=True)
class LabelRules:
    """What a label says by one profile.

    Parameters
    ----------
    alcohol_line_pct : float or None
        Above it the figure may be off by `alcohol_tolerance_above_pct` instead [% vol].
    never_across_pct : tuple of float
        Lines on whose right side the figure must stand, whatever the tolerance [% vol].
    from_lines_pct : tuple of float
        Lines from which on other rules hold; the figure stands on the true side [% vol].
    tax_classes : tuple of (float, str)
        Up to how much alcohol a still drink goes by these words [% vol]; rising.
    no_class : tuple of (float, float, str, str)
        From and up to how much alcohol there is a class at all [% vol], and the words beyond.
    weak_below_pct, weak_tolerance_pct : float or None
        Below it other rules of labelling hold, with a tolerance of their own [% vol].
    language : str
        Of what it prescribes, which no choice changes; empty where the country of sale decides.
    """

    alcohol_steps_pct: float
    alcohol_tolerance_pct: float
    alcohol_source: str
    alcohol_form: str
    alcohol_line_pct: float | None
    alcohol_tolerance_above_pct: float
    never_across_pct: tuple[float, ...]
    from_lines_pct: tuple[float, ...]
    weak_below_pct: float | None
    weak_tolerance_pct: float
    weak_words: str
    weak_source: str
    tax_classes: tuple[tuple[float, str], ...]
    no_class: tuple[float, float, str, str]
    no_class_source: str
    sparkling_class: str
    tax_source: str
    tax_note: str
    sulfite_words: str
    language: str
    warning: str
    warning_source: str
    naming: str
    naming_source: str
    fill: str
    fill_source: str
    fill_ml: tuple[float, ...]
    fill_whole_litres_from: float | None
    date: str
    date_source: str
    date_below_pct: float | None

    def is_weak(self, alcohol_pct: float | None) -> bool:
        """Whether so little alcohol falls under the other rules of labelling."""
        line = self.weak_below_pct
        return line is not None and alcohol_pct is not None and alcohol_pct < line

    def lists_size(self, litres: float) -> bool:
        """Whether bottles of this size are among the listed ones; all are where there is no list.

        Examples
        --------
        >>> rules = finishing_law("us").label
        >>> rules.lists_size(0.568), rules.lists_size(0.4), rules.lists_size(5.0)
        (True, False, True)
        """
        if not self.fill_ml or round(1000 * litres, 1) in self.fill_ml:
            return True
        whole = self.fill_whole_litres_from
        return whole is not None and litres >= whole and abs(litres - round(litres)) < 1e-9


@dataclass(frozen=True)
class FinishingLaw:
    """A profile as finishing sees it."""

    id: str
    name: str
    edition: str
    note: str
    limits: Mapping[str, FinishingLimit]
    classes: Mapping[tuple[str, str], FinishingLimit]
    label: LabelRules
    standings: tuple[ListStanding, ...] = ()

    def standing_of(self, substance: str) -> ListStanding | None:
        """What the list says of a substance without a figure there; None where nothing special."""
        return next((one for one in self.standings if substance in one.kinds), None)

    def highest(self, *substances: str) -> FinishingLimit | None:
        """The upper bound of the first of some substances that this profile knows."""
        for substance in substances:
            limit = self.limits.get(substance)
            if limit is not None and limit.high is not None:
                return limit
        return None

    def lowest(self, substance: str) -> FinishingLimit | None:
        """The lower bound of a substance, where the profile has one."""
        limit = self.limits.get(substance)
        return limit if limit is not None and limit.low is not None else None

    def class_most(self, kind: str, quantity: str) -> FinishingLimit | None:
        """What a drink sold by this name may hold at most, where the profile says so."""
        return self.classes.get((kind.strip().lower(), quantity))

    def at_every_step(self, quantity: str) -> FinishingLimit | None:
        """A bound of a class that holds for each step, where the profile has one."""
        found = (one for (_, name), one in self.classes.items() if name == quantity)
        return next((one for one in found if one.every_step), None)


@cache
def finishing_laws() -> dict[str, FinishingLaw]:
    """Every profile, by id."""
    return {name: _law(content) for name, content in data.folder("limits").items()}


def finishing_law(identity: object, where: str = "profile") -> FinishingLaw:
    """A profile by id.

    Raises
    ------
    UnknownKindError
    """
    laws = finishing_laws()
    return laws[data.key_of(laws, identity, where)]


def _law(content: Mapping[str, Any]) -> FinishingLaw:
    limits = {
        str(one["substance"]): _limit(one, str(one["substance"]))
        for one in content.get("finishing_limit", [])
    }
    classes = {
        (str(one["class"]), str(one["quantity"])): _limit(one, str(one["quantity"]))
        for one in content.get("class_limit", [])
        if "max" in one
    }
    return FinishingLaw(
        str(content["id"]),
        content["name"],
        data.edition_of(content),
        content["note"],
        limits,
        classes,
        _label(content["label"]),
        standings(content),
    )


def _limit(one: Mapping[str, Any], name: str) -> FinishingLimit:
    low, high = _bound(one, "min"), _bound(one, "max")
    makes = (
        say("{makes} ({source})", makes=one["makes"], source=one["makes_source"])
        if "makes" in one
        else ""
    )
    return FinishingLimit(
        name,
        low,
        high,
        str(one["unit"]),
        one["statement"],
        str(one["source"]),
        bool(one.get("every_step", False)),
        makes,
    )


def _bound(one: Mapping[str, Any], name: str) -> float | None:
    if name not in one:
        return None
    if one["unit"] == "pH":
        return float(one[name])
    return parse_quantity(f"{one[name]} {one['unit']}", f"finishing_limit.{name}").value


def _label(rules: Mapping[str, Any]) -> LabelRules:
    below, line = rules.get("date_below_pct"), rules.get("alcohol_line_pct")
    weak, whole = rules.get("weak_below_pct"), rules.get("fill_whole_litres_from")
    return LabelRules(
        float(rules["alcohol_steps_pct"]),
        float(rules["alcohol_tolerance_pct"]),
        str(rules["alcohol_source"]),
        str(rules["alcohol_form"]),
        None if line is None else float(line),
        float(rules.get("alcohol_tolerance_above_pct", rules["alcohol_tolerance_pct"])),
        tuple(float(v) for v in rules.get("never_across_pct", ())),
        tuple(float(v) for v in rules.get("from_lines_pct", ())),
        None if weak is None else float(weak),
        float(rules.get("weak_tolerance_pct", rules["alcohol_tolerance_pct"])),
        rules.get("weak_words", ""),
        str(rules.get("weak_source", "")),
        tuple((float(c["up_to_pct"]), c["words"]) for c in rules.get("tax_class", ())),
        (
            float(rules.get("wine_from_pct", 0.0)),
            float(rules.get("wine_up_to_pct", 100.0)),
            rules.get("no_class_below", ""),
            rules.get("no_class_above", ""),
        ),
        str(rules.get("no_class_source", "")),
        rules.get("sparkling_class", ""),
        str(rules.get("tax_source", "")),
        rules.get("tax_note", ""),
        rules.get("sulfite_told") or str(rules["sulfite_words"]),
        str(rules.get("language", "")),
        str(rules["warning"]),
        str(rules["warning_source"]),
        rules["naming"],
        str(rules["naming_source"]),
        rules["fill"],
        str(rules["fill_source"]),
        tuple(float(v) for v in rules.get("fill_ml", ())),
        None if whole is None else float(whole),
        rules["date"],
        str(rules["date_source"]),
        None if below is None else float(below),
    )
