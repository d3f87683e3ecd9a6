"""How a figure came about: a value that carries its inputs, its formula and its source.

Core functions work on plain floats. Where a float becomes something the maker reads, it is wrapped
in a `Figure`, so that a shell can unfold it. `unfold` splits any result into plain data for JSON
and the working of every figure in it, keyed by where the figure stands.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any

COMMON_PRACTICE = "common practice, no source"
ARITHMETIC = "arithmetic"
TYPED = "typed by the maker"
FROM_MEMORY = "from memory"
ASSUMED = "assumed"


@dataclass(frozen=True)
class Figure:
    """One number a maker reads, with everything needed to check it.

    Parameters
    ----------
    value : float
        The number, in `unit`.
    unit : str
        Printed unit; empty for ratios.
    formula : str
        How it follows from the inputs, in plain notation.
    source : str
        Bibliography key with table or equation, or one of the marks of this module.
    inputs : mapping of str to Figure or float or str
        What went in, by the name the formula uses.
    low, high : float or None
        About a 90 % range, where the inputs carry one.
    """

    value: float
    unit: str
    formula: str
    source: str
    inputs: Mapping[str, Figure | float | str] = field(default_factory=dict)
    low: float | None = None
    high: float | None = None

    def __float__(self) -> float:
        return float(self.value)

    def steps(self, name: str, depth: int = 0) -> Iterator[tuple[int, str, Figure]]:
        """This figure and, indented below it, each figure it was made from."""
        yield depth, name, self
        for label, made_from in self.inputs.items():
            if isinstance(made_from, Figure):
                yield from made_from.steps(label, depth + 1)


def typed(value: float, unit: str) -> Figure:
    """A figure the maker typed."""
    return Figure(value, unit, "as typed", TYPED)


def total(parts: Mapping[str, Figure], unit: str) -> Figure:
    """Sum of several figures of one unit, each kept as an input.

    Ranges add in quadrature on each side: the parts are taken as independent.
    """
    value = sum(part.value for part in parts.values())
    low, high = quadrature(parts.values())
    formula = " + ".join(parts) if parts else "nothing to add"
    return Figure(value, unit, formula, ARITHMETIC, dict(parts), low, high)


def quadrature(parts: Iterable[Figure]) -> tuple[float | None, float | None]:
    """Lower and upper end of a sum whose parts vary independently of one another."""
    parts = list(parts)
    if all(part.low is None and part.high is None for part in parts):
        return None, None
    value = sum(part.value for part in parts)
    down = sum((part.value - part.low) ** 2 for part in parts if part.low is not None)
    up = sum((part.high - part.value) ** 2 for part in parts if part.high is not None)
    return value - down**0.5, value + up**0.5


def unfold(result: object) -> tuple[Any, dict[str, Figure]]:
    """Split a result into plain data and the working of each figure in it.

    Parameters
    ----------
    result : object
        Dataclasses, mappings and sequences, holding figures, numbers and text.

    Returns
    -------
    data : object
        The same shape with every figure replaced by its value.
    working : dict of str to Figure
        Dotted place (``feeds[0].items[1].grams``) to figure.

    Examples
    --------
    >>> data, working = unfold({"grams": [typed(2.0, "g")]})
    >>> data, list(working)
    ({'grams': [2.0]}, ['grams[0]'])
    """
    working: dict[str, Figure] = {}
    return _unfold(result, "", working), working


def figure_data(figure: Figure) -> dict[str, Any]:
    """One figure as plain data, with its inputs nested."""
    data: dict[str, Any] = {
        "value": tidy(figure.value),
        "unit": figure.unit,
        "formula": figure.formula,
        "source": figure.source,
    }
    if figure.low is not None and figure.high is not None:
        data["low"], data["high"] = tidy(figure.low), tidy(figure.high)
    if figure.inputs:
        data["inputs"] = {
            name: figure_data(made) if isinstance(made, Figure) else made
            for name, made in figure.inputs.items()
        }
    return data


def _unfold(result: object, place: str, working: dict[str, Figure]) -> Any:
    if isinstance(result, Figure):
        working[place] = result
        return tidy(result.value)
    if is_dataclass(result) and not isinstance(result, type):
        result = {f.name: getattr(result, f.name) for f in fields(result)}
    if isinstance(result, Mapping):
        inside = place + "." if place else ""
        return {str(k): _unfold(v, f"{inside}{k}", working) for k, v in result.items()}
    if isinstance(result, (list, tuple)):
        return [_unfold(v, f"{place}[{i}]", working) for i, v in enumerate(result)]
    return tidy(result) if isinstance(result, float) else result


def tidy(value: float) -> float | None:
    """Drop the digits beyond double-precision noise, so that 0.1 + 0.2 prints as 0.3.

    What is not finite (days to dry, if it never gets there) becomes None: JSON has no infinity.
    """
    return float(f"{value:.10g}") if math.isfinite(value) else None
