"""What a page needs of a step's result besides its layout: the list of its figures, and links."""

from __future__ import annotations

import re
from collections.abc import Mapping

from markupsafe import Markup, escape

from mustwright.bench.as_json import step_working
from mustwright.bench.field_text import words
from mustwright.web.pages.figures import FigureList


def ledger_of(result: object) -> FigureList:
    """Every figure of a result, numbered in the order it is met."""
    return FigureList.over(
        (_place(place), figure) for place, figure in step_working(result).items()
    )


def _place(place: str) -> str:
    """Where a figure stands, in words: ``trial.glasses[2].stock_ml`` is glass 3 of the trial."""
    parts = []
    for part in place.split("."):
        name, _, index = part.partition("[")
        said = words(name).lower()
        parts.append(f"{said} {int(index.rstrip(']')) + 1}" if index else said)
    return ", ".join(parts)


def linked(text: str, addresses: Mapping[str, str]) -> Markup:
    """Text in which ``finish sulfite`` leads to that step."""
    safe = str(escape(text))

    def link(found: re.Match[str]) -> str:
        href = addresses.get(found[1])
        return found[0] if href is None else f'<a href="{escape(href)}">the {found[1]} step</a>'

    return Markup(re.sub(r"finish (\w+)", link, safe))
