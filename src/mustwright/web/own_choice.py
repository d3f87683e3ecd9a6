"""What one person chose, kept as a cookie of their browser."""

from __future__ import annotations

from collections.abc import Mapping
from http.cookies import CookieError, SimpleCookie
from urllib.parse import quote, unquote

from starlette.responses import Response

YEAR_S = 365 * 24 * 3600


def own_choice(headers: Mapping[str, str], name: str) -> str:
    """What is kept under a name; empty where nothing is, or the cookies cannot be read."""
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(name)
    except CookieError:
        return ""
    return unquote(found.value) if found else ""


def keep_choice(answer: Response, name: str, kept: str) -> None:
    """Let the browser of the person keep a choice."""
    answer.set_cookie(name, quote(kept), YEAR_S, httponly=True, samesite="strict")


def forget_choice(answer: Response, name: str) -> None:
    """Let the choice of the cellar count again for this person."""
    answer.delete_cookie(name, httponly=True, samesite="strict")
