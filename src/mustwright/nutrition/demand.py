"""How much nitrogen does this ferment want: rival rules, side by side, as data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from mustwright import data
from mustwright.errors import UnknownKindError
from mustwright.figure import Figure
from mustwright.texts import say, unchanged

STRAIN_RULE = "strain"
CLASSES = {
    "low": say("low", context="demand"),
    "medium": say("medium", context="demand"),
    "high": say("high", context="demand"),
    "very_high": unchanged("very_high", say("very high", context="demand")),
}


@dataclass(frozen=True)
class DemandRule:
    """One rule for the nitrogen a must should hold.

    Parameters
    ----------
    method : str
        ``per_gram_sugar``, ``brix_table``, ``floor`` or ``published_range``.
    record : mapping
        Its numbers, from the data file.
    """

    id: str
    name: str
    method: str
    account: str
    source: str
    record: Mapping[str, Any]

    def demand(self, sugar: Figure, brix: Figure, nitrogen_class: str) -> Figure:
        """Work out the nitrogen the must should hold.

        Parameters
        ----------
        sugar : Figure
            Dissolved sugar, at least 0 [g/L].
        brix : Figure
            Of the must, at least 0 [Brix].
        nitrogen_class : str
            Class of the strain: low, medium, high, very_high.

        Returns
        -------
        Figure
            Nitrogen, with the rule's own source [mg N/L].

        Raises
        ------
        KeyError
            If a rule by class of strain does not know the class.
        """
        if self.method == "per_gram_sugar":
            per_gram = float(self.record["mg_n_per_g_sugar"][nitrogen_class])
            inputs: dict[str, Figure | float | str] = {
                "sugar_g_l": sugar,
                "mg_n_per_g": per_gram,
                "strain": CLASSES.get(nitrogen_class, nitrogen_class),
            }
            return Figure(
                sugar.value * per_gram,
                "mg N/L",
                say("sugar x mg N per g sugar of the strain class"),
                self.source,
                inputs,
                *_scaled(sugar, per_gram),
            )
        if self.method == "published_range":
            low, high = (float(x) for x in self.record["mg_n_per_g_sugar_range"])
            middle = (low + high) / 2
            return Figure(
                sugar.value * middle,
                "mg N/L",
                say("sugar x middle of the published range"),
                self.source,
                {"sugar_g_l": sugar, "mg_n_per_g": middle},
                sugar.value * low,
                sugar.value * high,
            )
        if self.method == "brix_table":
            table = sorted((float(b), float(n)) for b, n in self.record["table"])
            value = _along_table(brix.value, table)
            return Figure(
                value,
                "mg N/L",
                say("table of nitrogen by Brix, straight line between rows and on"),
                self.source,
                {"brix": brix},
            )
        return Figure(float(self.record["mg_l"]), "mg N/L", say("fixed floor"), self.source)


def _along_table(brix: float, table: list[tuple[float, float]]) -> float:
    """Read the table; beyond its ends carry the end slope on, never below half the first row."""
    xs, ys = [row[0] for row in table], [row[1] for row in table]
    if brix < xs[0]:
        slope = (ys[1] - ys[0]) / (xs[1] - xs[0])
        return max(ys[0] + slope * (brix - xs[0]), ys[0] / 2)
    if brix > xs[-1]:
        slope = (ys[-1] - ys[-2]) / (xs[-1] - xs[-2])
        return ys[-1] + slope * (brix - xs[-1])
    return float(np.interp(brix, xs, ys))


def _scaled(figure: Figure, factor: float) -> tuple[float | None, float | None]:
    low = None if figure.low is None else figure.low * factor
    high = None if figure.high is None else figure.high * factor
    return low, high


@cache
def demand_rules() -> dict[str, DemandRule]:
    """Every demand rule, by id."""
    return {
        r["id"]: DemandRule(r["id"], r["name"], r["method"], r["account"], r["source"], r)
        for r in data.load("demand")["rule"]
    }


def demand_rule(identity: str, where: str = "dose.rule") -> DemandRule:
    """A rule by id; ``strain`` is the rule by class of strain.

    Raises
    ------
    UnknownKindError
    """
    rules = demand_rules()
    if identity == STRAIN_RULE:
        return next(r for r in rules.values() if r.method == "per_gram_sugar")
    if identity not in rules:
        raise UnknownKindError(
            where, say("needs one of strain, {rules}", rules=", ".join(rules)), identity
        )
    return rules[identity]
