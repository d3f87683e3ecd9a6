"""Pieces that several answers share on their way to plain data."""

from __future__ import annotations

from collections.abc import Mapping

from mustwright.figure import Figure, tidy


def ranges_of(shape: Mapping[str, object]) -> dict[str, list[float | None]]:
    """Low and high end of every figure that carries a range."""
    return {
        name: [tidy(figure.low), tidy(figure.high)]
        for name, figure in shape.items()
        if isinstance(figure, Figure) and figure.low is not None and figure.high is not None
    }
