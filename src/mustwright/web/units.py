"""Every answer in the units chosen for the cellar, looked up only when an amount is said."""

from __future__ import annotations

from functools import cache

from starlette.types import ASGIApp, Receive, Scope, Send

from mustwright.compose import Compose
from mustwright.services.repository import CellarAwayError, UnwritableError
from mustwright.services.units import chosen_for
from mustwright.unit_system import UnitSystem, choosing


class ChosenUnits:
    """Says amounts as the makers of the cellar chose; as typed where it cannot be reached."""

    def __init__(self, app: ASGIApp, compose: Compose) -> None:
        self.app, self.compose = app, compose

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        with choosing(cache(self._units)):
            await self.app(scope, receive, send)

    def _units(self) -> UnitSystem | None:
        try:
            return chosen_for(self.compose.ledger)
        except (CellarAwayError, UnwritableError):
            return None
