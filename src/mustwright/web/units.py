"""Every answer in the units chosen: by the person who asks, else for the cellar.

The person's choice is a cookie of their browser. The cellar's is looked up only when an amount is
said.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from starlette.datastructures import Headers
from starlette.responses import Response
from starlette.types import ASGIApp, Receive, Scope, Send

from mustwright.compose import Compose
from mustwright.errors import InputError
from mustwright.services.repository import CellarAwayError, UnwritableError
from mustwright.services.units import AS_TYPED, as_kept, chosen_for, system_kept
from mustwright.unit_system import UnitSystem, choosing, system_called
from mustwright.web.own_choice import forget_choice, keep_choice, own_choice

OWN_UNITS = "mustwright_units"


class ChosenUnits:
    """Says amounts as chosen; as typed where nothing is, or the cellar cannot be reached."""

    def __init__(self, app: ASGIApp, compose: Compose) -> None:
        self.app, self.compose = app, compose

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        own = own_units(Headers(scope=scope)) if scope["type"] == "http" else ""
        with choosing(system_kept(own) if own else cache(self._units)):
            await self.app(scope, receive, send)

    def _units(self) -> UnitSystem | None:
        try:
            return chosen_for(self.compose.ledger)
        except (CellarAwayError, UnwritableError):
            return None


def own_units(headers: Mapping[str, str]) -> str:
    """What the person who asks chose, as it is kept; empty where the cellar's choice counts."""
    kept = own_choice(headers, OWN_UNITS)
    if kept == AS_TYPED:
        return kept
    try:
        return system_called(kept).key
    except InputError:
        return ""


def keep_own(answer: Response, system: UnitSystem | None) -> None:
    """Let the browser of the person keep a choice; None lets each must keep its own units."""
    keep_choice(answer, OWN_UNITS, as_kept(system))


def forget_own(answer: Response) -> None:
    """Let the choice of the cellar count again for this person."""
    forget_choice(answer, OWN_UNITS)
