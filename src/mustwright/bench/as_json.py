"""One finishing step as plain data for JSON, and its figures for unfolding."""

from __future__ import annotations

from datetime import date
from typing import Any

from mustwright.figure import Figure
from mustwright.plain_data import ranges_of, shared_working, unfold


def step_data(result: object, explain: bool = False) -> dict[str, Any]:
    """A step's result: its own figures on top, what a log keeps beside them.

    `additions`, `after`, `steps`, `notes` and `cautions` are lifted out of `recorded`.
    """
    shape = step_shape(result)
    data, working = unfold(shape)
    data = _plain_dates(data)
    data["ranges"] = ranges_of(shape)
    if explain:
        data["working"] = shared_working(working)
    return dict(data)


def _plain_dates(data: dict[str, Any]) -> dict[str, Any]:
    return {k: v.isoformat() if isinstance(v, date) else v for k, v in data.items()}


def step_shape(result: object) -> dict[str, Any]:
    """The same, with figures still whole."""
    shape = {name: getattr(result, name) for name in result.__dataclass_fields__}  # type: ignore[attr-defined]
    recorded = shape.pop("recorded")
    for name in recorded.__dataclass_fields__:
        shape[name] = getattr(recorded, name)
    return shape


def step_working(result: object) -> dict[str, Figure]:
    """Every figure of a step by its place."""
    return unfold(step_shape(result))[1]
