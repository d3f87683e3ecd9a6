"""How a figure's working is printed: the tree of inputs, each shared part once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from mustwright.figure import Figure
from mustwright.texts import say


def working_lines(figures: Mapping[str, Figure]) -> Iterator[str]:
    """Lines for every figure by its place, with what it was made from indented below it."""
    places = {id(figure): place for place, figure in reversed(list(figures.items()))}
    for place, figure in figures.items():
        yield say("{place} = {value}", place=place, value=value_text(figure))
        yield from _below(figure, 1, places, place)


def _below(figure: Figure, depth: int, places: dict[int, str], top: str) -> Iterator[str]:
    indent = "    " * depth
    yield say("{indent}how: {formula}", indent=indent, formula=figure.formula)
    yield say("{indent}source: {source}", indent=indent, source=figure.source)
    for name, made in figure.inputs.items():
        if not isinstance(made, Figure):
            shown = say("{made:.6g}", made=made) if isinstance(made, float | int) else made
            yield say("{indent}{name} = {shown}", indent=indent, name=name, shown=shown)
            continue
        known = places.get(id(made))
        if known is not None and known != top:
            yield say(
                "{indent}{name} = {value}, see {known}",
                indent=indent,
                name=name,
                value=value_text(made),
                known=known,
            )
            continue
        yield say("{indent}{name} = {value}", indent=indent, name=name, value=value_text(made))
        yield from _below(made, depth + 1, places, top)


def value_text(figure: Figure) -> str:
    """A value with its unit and range."""
    text = say("{value:.6g} {unit}", value=figure.value, unit=figure.unit).strip()
    if figure.low is not None and figure.high is not None:
        text += say(
            " (90 % about {low:.4g} to {high:.4g})",
            low=figure.low,
            high=figure.high,
        )
    return text
