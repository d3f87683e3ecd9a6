"""One finishing step as plain data for JSON, and its figures for unfolding."""

from __future__ import annotations

from typing import Any

from mustwright.figure import Figure
from mustwright.plain_data import answer_data, fields_of, ranges_of, working_of


def step_data(result: Any, explain: bool = False) -> dict[str, Any]:
    """A step's result: its own figures on top, what a log keeps beside them.

    `additions`, `after`, `steps`, `notes` and `cautions` are lifted out of `recorded`.
    """
    shape = step_shape(result)
    return answer_data({**shape, "ranges": ranges_of(shape)}, explain)


def step_shape(result: Any) -> dict[str, Any]:
    """The same, with figures still whole."""
    return {**fields_of(result, "recorded"), **fields_of(result.recorded)}


def step_working(result: Any) -> dict[str, Figure]:
    """Every figure of a step by its place."""
    return working_of(step_shape(result))
