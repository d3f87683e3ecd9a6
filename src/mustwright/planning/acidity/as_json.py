"""The answer on acid as plain data, the same for every shell, with the working beside it."""

from __future__ import annotations

from typing import Any

from mustwright.figure import Figure
from mustwright.plain_data import answer_data, with_ranges, working_of
from mustwright.planning.acidity.result import AcidityResult


def acidity_data(result: AcidityResult, explain: bool = False) -> dict[str, Any]:
    """One JSON object; with `explain`, the working of each figure by its place."""
    return answer_data(_shape(result), explain, whole=True)


def acidity_working(result: AcidityResult) -> dict[str, Figure]:
    """Every figure by its place in the JSON object."""
    return working_of(_shape(result))


def _shape(result: AcidityResult) -> dict[str, Any]:
    parts = {name: with_ranges(getattr(result, name)) for name in ("must", "dose", "potassium")}
    return with_ranges(result, **parts)
