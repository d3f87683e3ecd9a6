"""How does a page become text: one template environment, strict about what is missing."""

from __future__ import annotations

import re
from functools import cache, lru_cache

from jinja2 import Environment, PackageLoader, StrictUndefined
from jinja2.runtime import Macro
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from mustwright import __version__


@cache
def environment() -> Environment:
    """The templates of this package; everything is escaped unless marked safe."""
    made = Environment(
        loader=PackageLoader("mustwright.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["version"] = __version__
    made.globals["once"] = once
    return made


KEPT_PIECES, LONGEST_KEPT = 2048, 200


def once(macro: Macro, *words: object) -> str:
    """What a macro writes of these words; kept, as most fields of a form are always the same.

    Its arguments must be plain: text, numbers, None, or lists of them. Words somebody typed at
    length are not kept.
    """
    plain = tuple(tuple(w) if isinstance(w, list) else w for w in words)
    if any(isinstance(w, str) and len(w) > LONGEST_KEPT for w in plain):
        return macro(*plain)
    return _kept(macro, *plain)


@lru_cache(maxsize=KEPT_PIECES)
def _kept(macro: Macro, *words: object) -> str:
    return macro(*words)


def page(request: Request, template: str, status: int = 200, **context: object) -> HTMLResponse:
    """A template as a page."""
    text = environment().get_template(template).render(request=request, **context)
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


def error_page(
    request: Request,
    status: int,
    title: str,
    detail: str,
    error: dict[str, str | None] | None = None,
) -> Response:
    """What went wrong, as a page, or as JSON for a caller that asks for JSON alone."""
    accept = request.headers.get("accept", "")
    is_api = request.url.path.startswith("/api/")
    if is_api or ("application/json" in accept and "text/html" not in accept):
        nothing = {"field": None, "requirement": None, "got": None, "message": detail}
        return JSONResponse({"error": error or nothing}, status_code=status)
    return page(request, "error.html", status, title=title, detail=detail, code=status)
