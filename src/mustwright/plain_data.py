"""How does a result become plain data for JSON: by its fields, figures with ranges and working.

`data_of` gives a record as it is, to be read back. An answer that a maker reads is shaped first
(`fields_of`, `with_ranges`), then split into its values and the working of every figure in it, by
the place where the figure stands.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass, replace
from datetime import date
from functools import cache
from typing import Any

from mustwright.figure import Figure

PLAIN = frozenset((str, float, int, bool, type(None)))


def data_of(value: object) -> Any:
    """Plain data (mappings, lists, text, numbers) of a record, numbers to the last digit."""
    kind = type(value)
    if kind in PLAIN:
        return value
    if is_dataclass(kind):
        return {name: data_of(getattr(value, name)) for name in _names(kind)}
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(k): data_of(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [data_of(v) for v in value]
    return value


def picked(record: object, names: str) -> dict[str, Any]:
    """Some fields of a record as plain data; names with spaces between."""
    return {name: data_of(getattr(record, name)) for name in names.split()}


def fields_of(result: Any, *without: str, **instead: object) -> dict[str, Any]:
    """The fields of a dataclass by name, but for some, and with some put in place of its own."""
    kept = [f.name for f in fields(result) if f.name not in without]
    return {name: getattr(result, name) for name in kept} | instead


def with_ranges(result: object, *without: str, **instead: object) -> dict[str, Any]:
    """`fields_of`, and under ``ranges`` both ends of every figure that carries a range."""
    shape = fields_of(result, *without, **instead)
    return {**shape, "ranges": ranges_of(shape)}


def ranges_of(shape: Mapping[str, object]) -> dict[str, list[float | None]]:
    """Low and high end of every figure that carries a range."""
    return {
        name: [tidy(figure.low), tidy(figure.high)]
        for name, figure in shape.items()
        if isinstance(figure, Figure) and figure.low is not None and figure.high is not None
    }


def answer_data(shape: object, explain: bool = False, *, whole: bool = False) -> dict[str, Any]:
    """An answer as one JSON object; with `explain`, the working of each figure by its place.

    Parameters
    ----------
    whole : bool
        Each figure with all it was made from; else each shared part is unfolded once.
    """
    data, working = unfold(shape)
    if explain:
        data["working"] = (
            {place: figure_data(figure) for place, figure in working.items()}
            if whole
            else shared_working(working)
        )
    return dict(data)


def working_of(shape: object) -> dict[str, Figure]:
    """Every figure of an answer by its place in the JSON object."""
    return unfold(shape)[1]


def shared_working(working: Mapping[str, Figure]) -> dict[str, Any]:
    """The working of every figure by its place, each shared part unfolded once.

    A figure that appears at another place too, alone or as an input, is given there in full; here
    it has a ``see`` with that place instead of its inputs.
    """
    places: dict[int, str] = {}
    for place, figure in working.items():
        places.setdefault(id(figure), place)
    return {place: _shared(figure, places, place) for place, figure in working.items()}


def _shared(figure: Figure, places: Mapping[int, str], here: str) -> dict[str, Any]:
    known = places.get(id(figure))
    if known is not None and known != here:
        return {**figure_data(replace(figure, inputs={})), "see": known}
    return _figure(figure, lambda made: _shared(made, places, ""))


def figure_data(figure: Figure) -> dict[str, Any]:
    """One figure as plain data, with its inputs nested."""
    return _figure(figure, figure_data)


def _figure(figure: Figure, of_input: Callable[[Figure], dict[str, Any]]) -> dict[str, Any]:
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
            name: of_input(made) if isinstance(made, Figure) else made
            for name, made in figure.inputs.items()
        }
    return data


def unfold(result: object) -> tuple[Any, dict[str, Figure]]:
    """Split a result into plain data and the working of each figure in it.

    Parameters
    ----------
    result : object
        Dataclasses, mappings and sequences, holding figures, numbers, dates and text.

    Returns
    -------
    data : object
        The same shape with every figure replaced by its value.
    working : dict of str to Figure
        Dotted place (``feeds[0].items[1].grams``) to figure.

    Examples
    --------
    >>> from mustwright.figure import typed
    >>> data, working = unfold({"grams": [typed(2.0, "g")]})
    >>> data, list(working)
    ({'grams': [2.0]}, ['grams[0]'])
    """
    working: dict[str, Figure] = {}
    return _unfold(result, "", working), working


def _unfold(result: object, place: str, working: dict[str, Figure]) -> Any:
    if isinstance(result, Figure):
        working[place] = result
        return tidy(result.value)
    if is_dataclass(result) and not isinstance(result, type):
        result = fields_of(result)
    if isinstance(result, Mapping):
        inside = place + "." if place else ""
        return {str(k): _unfold(v, f"{inside}{k}", working) for k, v in result.items()}
    if isinstance(result, (list, tuple)):
        return [_unfold(v, f"{place}[{i}]", working) for i, v in enumerate(result)]
    return tidy(result) if isinstance(result, float) else data_of(result)


def tidy(value: float) -> float | None:
    """Drop the digits beyond double-precision noise, so that 0.1 + 0.2 prints as 0.3.

    What is not finite (days to dry, if it never gets there) becomes None: JSON has no infinity.
    """
    return float(f"{value:.10g}") if math.isfinite(value) else None


@cache
def _names(cls: Any) -> tuple[str, ...]:
    return tuple(f.name for f in fields(cls))
