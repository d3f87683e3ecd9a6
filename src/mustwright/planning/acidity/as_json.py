"""The answer on acid as plain data, the same for every shell, with the working beside it."""

from __future__ import annotations

from typing import Any

from mustwright.figure import Figure, figure_data, unfold
from mustwright.planning.acidity.result import AcidityResult
from mustwright.planning.json_ranges import ranges_of


def acidity_data(result: AcidityResult, explain: bool = False) -> dict[str, Any]:
    """One JSON object; with `explain`, the working of each figure by its place."""
    shown = _shape(result)
    plain, working = unfold(shown)
    if explain:
        plain["working"] = {place: figure_data(figure) for place, figure in working.items()}
    return dict(plain)


def acidity_working(result: AcidityResult) -> dict[str, Figure]:
    """Every figure by its place in the JSON object."""
    return unfold(_shape(result))[1]


def _shape(result: AcidityResult) -> dict[str, Any]:
    shape = {name: getattr(result, name) for name in result.__dataclass_fields__}
    must = {name: getattr(result.must, name) for name in result.must.__dataclass_fields__}
    shape["must"] = {**must, "ranges": ranges_of(must)}
    for part in ("dose", "potassium"):
        whole = getattr(result, part)
        inner = {name: getattr(whole, name) for name in whole.__dataclass_fields__}
        shape[part] = {**inner, "ranges": ranges_of(inner)}
    shape["ranges"] = ranges_of(shape)
    return shape
