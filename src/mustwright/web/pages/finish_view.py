"""What a page needs of a step's result besides its layout: the list of its figures, and links."""

from __future__ import annotations

import re
from collections.abc import Mapping

from markupsafe import Markup, escape

from mustwright.batch.vessel_text import STEPS
from mustwright.bench.as_json import step_working
from mustwright.input_names import input_words
from mustwright.languages import here
from mustwright.texts import join, say
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
        said = input_words(name).lower()
        number = int(index.rstrip("]")) + 1 if index else 0
        parts.append(say("{what} {number}", what=said, number=number) if number else said)
    return join(", ", parts)


def linked(text: str, addresses: Mapping[str, str]) -> Markup:
    """Text in which ``finish sulfite`` leads to that step."""
    safe = str(escape(here(text)))

    def link(found: re.Match[str]) -> str:
        href = addresses.get(found[1])
        return found[0] if href is None else _link_to(found[1], href)

    return Markup(re.sub(r"finish (\w+)", link, safe))


def _link_to(step: str, href: str) -> str:
    words = here(say("the {step} step", step=STEPS.get(step, step)))
    return f'<a href="{escape(href)}">{escape(words)}</a>'
