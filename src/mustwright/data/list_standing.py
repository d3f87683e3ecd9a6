"""Does the law's list name a substance at all: lines of a legal profile that carry no figure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from mustwright.texts import join


@dataclass(frozen=True)
class ListStanding:
    """What the law's list says of a substance that has no figure there.

    Parameters
    ----------
    kinds : tuple of str
        Nutrient classes or substances.
    listed : bool
        Whether the list names it at all.
    """

    kinds: tuple[str, ...]
    listed: bool
    statement: str
    source: str

    @property
    def words(self) -> str:
        """The statement with its source."""
        return join("", (self.statement, f" ({self.source})"))


def standings(content: Mapping[str, Any]) -> tuple[ListStanding, ...]:
    """The lines of a profile on what it does not list, or lists without a figure."""
    return tuple(
        ListStanding(
            tuple(str(kind) for kind in one["kinds"]),
            bool(one["listed"]),
            one["statement"],
            str(one["source"]),
        )
        for one in content.get("standing", [])
    )
