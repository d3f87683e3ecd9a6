"""How a figure came about: a value that carries its inputs, its formula and its source.

Core functions work on plain floats. Where a float becomes something the maker reads, it is wrapped
in a `Figure`, so that a shell can unfold it; `plain_data` does that for whole results.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from mustwright.texts import Text, join, say, unchanged

COMMON_PRACTICE = say("common practice, no source")
ARITHMETIC = say("arithmetic")
TYPED = say("typed by the maker")
FROM_MEMORY = say("from memory")
ASSUMED = say("assumed")


MARKS = {str(one): one for one in (COMMON_PRACTICE, ARITHMETIC, TYPED, FROM_MEMORY, ASSUMED)}

# Names under which parts are summed, as a formula writes them.
SUMMED = {
    "ammonium": say("ammonium"),
    "ammonium_n": unchanged("ammonium_n", say("ammonium")),
    "amino": say("amino"),
    "amino_n": unchanged("amino_n", say("amino")),
    "must": say("must", context="part of a sum"),
    "rehydration": say("rehydration", context="part of a sum"),
    "added": say("added", context="part of a sum"),
    "feeds": say("feeds", context="part of a sum"),
    "uptake weights": say("uptake weights", context="part of a sum"),
}


def source_words(source: str) -> str:
    """A source as it is read: its mark in words, what it cites as it stands.

    Examples
    --------
    >>> source_words("from memory: two texts of winemaking")
    'from memory: two texts of winemaking'
    """
    if isinstance(source, Text):
        return source
    for mark, words in MARKS.items():
        rest = source.removeprefix(mark)
        if rest != source and rest[:1] in ("", ":", ";", ","):
            return join("", (words, rest))
    return source


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
    return Figure(value, unit, say("as typed"), TYPED)


def total(parts: Mapping[str, Figure], unit: str) -> Figure:
    """Sum of several figures of one unit, each kept as an input.

    Ranges add in quadrature on each side: the parts are taken as independent.
    """
    value = sum(part.value for part in parts.values())
    low, high = quadrature(parts.values())
    names = [SUMMED.get(name, name) for name in parts]
    formula = join(" + ", names) if parts else say("nothing to add")
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
