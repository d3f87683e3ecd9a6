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
from mustwright.input_names import input_words
from mustwright.kinetics.ready import how_far
from mustwright.languages import Language, spoken
from mustwright.learning.tasting import KIND_NAMES
from mustwright.must import gravity_text
from mustwright.nutrition.feed_items import about_teaspoons
from mustwright.nutrition.triggers import said_again
from mustwright.planning.hours_text import clock
from mustwright.planning.plan_text import in_sentence
from mustwright.texts import capital, literal, uncapital
from mustwright.web.forms import batch_form
from mustwright.web.pages import batch_options, figures
from mustwright.web.render import environment, page
from mustwright.web.translation import speaking_filters


@cache
def _equipped(language: Language | None) -> Environment:
    """The template environment of a language with this shell's words in it."""
    made = environment()
    made.filters.update(
        said=figures.said,
        said_number=figures.said_number,
        spread=figures.spread,
        clock=clock,
        clock_range=figures.clock_range,
        number=figures.number,
        is_finite=math.isfinite,
        bare="{:g}".format,  # a number that a script reads, with a point in every language
        capitalise=lambda words: words if words[:2] == "pH" else capital(words),
        uncapital=uncapital,
        words=input_words,
        place_words=figures.place_words,
        in_sentence=in_sentence,
        printed=printed,
        between=between,
        source_parts=figures.source_parts,
        feed_words=log_text.feed_words,
        feed_state=log_text.FEED_STATES.__getitem__,
        tasting_kind=lambda kind: KIND_NAMES.get(kind, kind),
        risk_words=lambda risk: literal(risk, "risk"),
        feed_options=batch_options.feed_options,
        jar_options=batch_options.jar_options,
        degrees=unit_system.degrees,
        volume=unit_system.volume,
        mass=unit_system.mass,
        trigger=said_again,
        teaspoons=about_teaspoons,
        gravity=gravity_text.gravity_text,
        gravities=gravity_text.with_gravities,
    )
    made.globals["cautions"] = cautions()
    made.globals["ledger"] = None
    made.globals["compiling"] = how_far
    made.globals["degree_sign"] = unit_system.degree_sign
    made.globals["gravity_sign"] = gravity_text.gravity_sign
    made.globals["bare_gravity"] = gravity_text.bare_sentence
    made.globals["apparent"] = gravity_text.apparent_words
    made.globals["gravity_label"] = batch_form.gravity_label
    made.globals["ph_options"] = batch_form.PH_OPTIONS
    if language is not None:
        speaking_filters(made, language)
    return made


def cautions() -> Mapping[str, str]:
    """Every caution by name."""
    return {name: one["text"] for name, one in data.load("cautions").items()}


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
    _equipped(spoken())
    return page(request, template, status, **context)
