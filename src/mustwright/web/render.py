"""How does a page become text: one template environment, strict about what is missing."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import cache, lru_cache

from jinja2 import Environment
from jinja2.runtime import Macro
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from mustwright import __version__
from mustwright.languages import ENGLISH, Language, code_spoken, spoken
from mustwright.unit_system import UnitSystem, current
from mustwright.web.forms.typed import TypedForm
from mustwright.web.glossary_links import with_glossary
from mustwright.web.translation import made_environment


def environment() -> Environment:
    """The templates of this package in the language spoken here."""
    return _environment(spoken())


@cache
def _environment(language: Language | None) -> Environment:
    made = made_environment(language)
    made.globals["version"] = __version__
    made.globals["kept_form"] = kept_form
    made.globals["language"] = ENGLISH if language is None else language.code
    return made


WITHOUT_GLOSSARY = ("glossary.html",)  # which explains them itself
KEPT_FORMS, LONGEST_KEPT = 256, 200


def kept_form(
    macro: Macro, form: str, typed: TypedForm, errors: Mapping[str, str], *options: Sequence[object]
) -> str:
    """The fields of a form, written by a macro; cached, as most forms are the same on every page.

    Not cached if something is wrong with it, or something long was typed.

    Parameters
    ----------
    form : str
        Its name, with which the ids of its fields and errors begin.
    options : sequences
        Choices of its fields, in the order of the macro.
    """
    filled = typed.fields
    if errors or any(len(value) > LONGEST_KEPT for value in filled.values()):
        return macro(form, typed, errors, *options)
    told = current(), code_spoken()
    return _kept(macro, form, tuple(filled.items()), told, *map(tuple, options))


@lru_cache(maxsize=KEPT_FORMS)
def _kept(
    macro: Macro,
    form: str,
    filled: tuple[tuple[str, str], ...],
    _told: tuple[UnitSystem, str],  # labels and examples are said in these units and language
    *options: tuple[object, ...],
) -> str:
    return macro(form, TypedForm(dict(filled)), {}, *map(list, options))


def page(request: Request, template: str, status: int = 200, **context: object) -> HTMLResponse:
    """A template as a page, its words of the trade linked to the glossary."""
    text = environment().get_template(template).render(request=request, **context)
    if template not in WITHOUT_GLOSSARY:
        text = with_glossary(text)
    token = getattr(request.state, "form_token", "")
    return HTMLResponse(with_form_token(text, token), status_code=status)


_FORM = re.compile(r"<form\b[^>]*\bmethod=[\"']?post[\"']?[^>]*>", re.IGNORECASE)
FORM_TOKEN = "form_token"


def with_form_token(html: str, token: str) -> str:
    """A page whose every posting form carries the session's token; no template can forget it."""
    if not token:
        return html
    hidden = f'<input type="hidden" name="{FORM_TOKEN}" value="{token}">'
    return _FORM.sub(lambda form: form[0] + hidden, html)


def wants_data(request: Request) -> bool:
    """Whether the caller asks for JSON and takes no page."""
    accept = request.headers.get("accept", "")
    return "application/json" in accept and "text/html" not in accept


def error_page(
    request: Request,
    status: int,
    title: str,
    detail: str,
    error: dict[str, str | None] | None = None,
    typed: Sequence[tuple[str, str]] = (),
) -> Response:
    """What went wrong, as a page, or as JSON for a caller that asks for JSON alone.

    Parameters
    ----------
    typed : sequence of (str, str)
        Fields of a form that could not be written; the page holds them, to be sent again.
    """
    if request.url.path.startswith("/api/") or wants_data(request):
        nothing = {"field": None, "requirement": None, "got": None, "message": detail}
        return JSONResponse({"error": error or nothing}, status_code=status)
    return page(request, "error.html", status, title=title, detail=detail, code=status, typed=typed)
