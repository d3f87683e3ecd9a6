"""How a figure's working is printed: the tree of inputs, each shared part once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from mustwright.figure import Figure


def working_lines(figures: Mapping[str, Figure]) -> Iterator[str]:
    """Lines for every figure by its place, with what it was made from indented below it."""
    places = {id(figure): place for place, figure in reversed(list(figures.items()))}
    for place, figure in figures.items():
        yield f"{place} = {value_text(figure)}"
        yield from _below(figure, 1, places, place)


def _below(figure: Figure, depth: int, places: dict[int, str], top: str) -> Iterator[str]:
    indent = "    " * depth
    yield f"{indent}how: {figure.formula}"
    yield f"{indent}source: {figure.source}"
    for name, made in figure.inputs.items():
        if not isinstance(made, Figure):
            shown = f"{made:.6g}" if isinstance(made, float | int) else made
            yield f"{indent}{name} = {shown}"
            continue
        known = places.get(id(made))
        if known is not None and known != top:
            yield f"{indent}{name} = {value_text(made)}, see {known}"
            continue
        yield f"{indent}{name} = {value_text(made)}"
        yield from _below(made, depth + 1, places, top)


def value_text(figure: Figure) -> str:
    """A value with its unit and range."""
    text = f"{figure.value:.6g} {figure.unit}".strip()
    if figure.low is not None and figure.high is not None:
        text += f" (90 % about {figure.low:.4g} to {figure.high:.4g})"
    return text
