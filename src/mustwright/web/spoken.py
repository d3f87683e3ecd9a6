"""Every answer in the language chosen: by the person who asks, for the cellar, or by the browser.

The person's choice is a cookie of their browser. Where neither they nor the cellar chose, the
languages that the browser asks for count, the one it wants most first (RFC 9110, 12.5.4).
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from starlette.datastructures import Headers
from starlette.responses import Response
from starlette.types import ASGIApp, Receive, Scope, Send

from mustwright.compose import Compose
from mustwright.languages import ENGLISH, NAMED, Language, language_called, speaking
from mustwright.services.language import chosen_language, language_kept
from mustwright.services.repository import CellarAwayError, UnwritableError
from mustwright.web.own_choice import forget_choice, keep_choice, own_choice

OWN_LANGUAGE = "mustwright_language"


class SpokenLanguage:
    """Speaks the language chosen; English where nothing tells of another."""

    def __init__(self, app: ASGIApp, compose: Compose) -> None:
        self.app, self.compose = app, compose

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)

        def language() -> Language | None:
            code = own_language(headers) or self._of_cellar() or wanted_by(headers)
            return language_called(code)

        with speaking(cache(language)):
            await self.app(scope, receive, send)

    def _of_cellar(self) -> str:
        try:
            return chosen_language(self.compose.ledger)
        except (CellarAwayError, UnwritableError):
            return ""


def own_language(headers: Mapping[str, str]) -> str:
    """The code of what the person chose; empty where they did not."""
    return language_kept(own_choice(headers, OWN_LANGUAGE))


def wanted_by(headers: Mapping[str, str]) -> str:
    """The language of ours that a browser wants most; English where it wants none of them.

    Examples
    --------
    >>> wanted_by({"accept-language": "fr, de-AT;q=0.8, en;q=0.5"}), wanted_by({})
    ('de', 'en')
    """
    wanted: list[tuple[float, str]] = []
    for part in headers.get("accept-language", "").split(",")[:20]:
        name, _, weight = part.partition(";")
        code = name.strip().lower().split("-")[0]
        try:
            share = float(weight.strip().removeprefix("q=") or 1)
        except ValueError:
            continue
        if code in NAMED and share > 0:
            wanted.append((share, code))
    return max(wanted, key=lambda one: one[0])[1] if wanted else ENGLISH


def keep_own_language(answer: Response, code: str) -> None:
    """Let the browser of the person keep a choice; empty lets the cellar's count again."""
    if code:
        keep_choice(answer, OWN_LANGUAGE, code)
    else:
        forget_choice(answer, OWN_LANGUAGE)
