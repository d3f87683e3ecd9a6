"""Makes every answer of the pages come late and in two pieces, to find tests that do not wait.

``LATE=0.7 PYTHONPATH=tests/e2e/late pytest -n 4 tests/e2e``: seconds, on average. Python imports
this module by its name in each process, so the pages of `mustwright serve` are late as well.
"""

from __future__ import annotations

import asyncio
import os
import random
from typing import Any

LATE_S = float(os.environ.get("LATE", "0"))
SMALL = 1500  # bytes that come in one piece


def late(app: Any) -> Any:
    """The same application, whose answers are late."""

    async def answer(scope: Any, receive: Any, send: Any) -> None:
        is_static = "/static" in scope.get("path", "")
        await asyncio.sleep(LATE_S * (0.1 if is_static else random.uniform(0.5, 1.5)))

        async def in_two(message: Any) -> None:
            body = message.get("body", b"")
            if not is_static and len(body) > SMALL:
                cut = len(body) // 5
                await send({**message, "body": body[:cut], "more_body": True})
                await asyncio.sleep(LATE_S * random.uniform(0.3, 1))
                message = {**message, "body": body[cut:]}
            await send(message)

        await app(scope, receive, in_two)

    return answer


def make_late() -> None:
    """Every server of this process."""
    from uvicorn.protocols.http.httptools_impl import RequestResponseCycle

    plain = RequestResponseCycle.run_asgi

    async def run_asgi(self: Any, app: Any) -> None:
        await plain(self, late(app))

    RequestResponseCycle.run_asgi = run_asgi  # type: ignore[method-assign]


if LATE_S:
    make_late()
