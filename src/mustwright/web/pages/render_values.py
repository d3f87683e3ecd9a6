"""What every page may use in its template: figures in words, cautions, links to sources."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from functools import cache

from jinja2 import Environment
from starlette.requests import Request
from starlette.responses import HTMLResponse

from mustwright import data, unit_system
from mustwright.batch import log_text
from mustwright.bench.field_text import between, printed
from mustwright.web.forms import batch_form
from mustwright.web.pages import batch_options, figures
from mustwright.web.render import environment, page


@cache
def _equipped() -> Environment:
    """The template environment with this shell's words in it."""
    made = environment()
    made.filters.update(
        said=figures.said,
        said_number=figures.said_number,
        spread=figures.spread,
        clock=figures.clock,
        clock_range=figures.clock_range,
        number=figures.number,
        is_finite=math.isfinite,
        capitalise=lambda words: words[:1].upper() + words[1:],
        words=figures.words,
        printed=printed,
        between=between,
        source_parts=figures.source_parts,
        feed_words=log_text.feed_words,
        feed_options=batch_options.feed_options,
        jar_options=batch_options.jar_options,
        degrees=unit_system.degrees,
        volume=unit_system.volume,
    )
    made.globals["cautions"] = cautions()
    made.globals["ledger"] = None
    made.globals["degree_sign"] = unit_system.degree_sign
    made.globals["ph_options"] = batch_form.PH_OPTIONS
    return made


def cautions() -> Mapping[str, str]:
    """Every caution by name."""
    return {name: str(one["text"]) for name, one in data.load("cautions").items()}


def put_away(key: str) -> str:
    """The key of a record just put away, when it looks like one; empty otherwise."""
    return key if re.fullmatch(r"[a-z0-9_-]{1,80}", key) else ""


def show_form(
    request: Request,
    template: str,
    *,
    stamp: str,
    errors: Mapping[str, str] | None = None,
    theirs: str = "",
    **context: object,
) -> HTMLResponse:
    """A form, filled as it was typed.

    Parameters
    ----------
    stamp : str
        Version of the record that the form was filled from.
    errors : mapping of str to str or None
        By field; with any the answer is 422.
    theirs : str
        What someone else saved meanwhile; with it the answer is 409.
    """
    status = 409 if theirs else 422 if errors else 200
    return show(
        request, template, status, stamp=stamp, errors=errors or {}, theirs=theirs, **context
    )


def show(request: Request, template: str, status: int = 200, **context: object) -> HTMLResponse:
    """A template as a page."""
    _equipped()
    return page(request, template, status, **context)
