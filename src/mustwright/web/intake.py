"""What comes in with a request: how much, how fast, from how many at once; read beforehand."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import anyio
from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from mustwright.texts import say
from mustwright.web.render import error_page

SMALL_BODY_BYTES = 4_000  # of whoever has not come in yet: a passphrase and where to go
MAX_BODY_BYTES = 1_000_000
MAX_FILE_BYTES = 15_100_000  # a photo of 15 MB and the form around it
FILE_PATH = re.compile(r"/batches(/[a-z0-9-]+/(photos|import))?")
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
MOST_FIELDS = 2000  # of one form
LARGEST_PART = 6_000_000  # a pasted table; the whole body has been limited before
PAUSE_S = 10.0  # between two parts of a body
FIRST_S, BYTES_PER_S = 20.0, 30_000.0  # a body has this long, and longer the larger it is
HELD_BYTES, HELD_BY_ONE_BYTES = 64_000_000, 31_000_000  # of bodies not yet answered
BODIES_OF_ONE = 32
BODY = "body"  # in the state of a request: what came with it
IS_STRANGER = "is_stranger"  # in the state of a request: it came without a session


class HeldBodies:
    """How much of bodies is held in memory: in all, and for one address."""

    def __init__(self, in_all: int = HELD_BYTES, of_one: int = HELD_BY_ONE_BYTES) -> None:
        self._in_all, self._of_one = in_all, of_one
        self._held: dict[str, list[int]] = {}
        self._lock = threading.Lock()

    @contextmanager
    def kept(self, address: str, size: int) -> Iterator[bool]:
        """HeldBodies for a body while it is dealt with; False where there is none."""
        with self._lock:
            mine = self._held.get(address, [])
            total = sum(sum(sizes) for sizes in self._held.values())
            fits = (
                total + size <= self._in_all
                and sum(mine) + size <= self._of_one
                and len(mine) < BODIES_OF_ONE
            )
            if fits:
                self._held.setdefault(address, []).append(size)
        try:
            yield fits
        finally:
            if fits:
                with self._lock:
                    self._held[address].remove(size)
                    if not self._held[address]:
                        del self._held[address]


class BodyLimit:
    """Reads a body, if it is not too large, too slow or one too many.

    Parameters
    ----------
    limit : int
        Of most bodies [bytes]; files may be larger, those of strangers are smaller.
    pause_s : float
        The longest wait for the next part of a body [s].
    """

    def __init__(
        self,
        app: ASGIApp,
        limit: int = MAX_BODY_BYTES,
        pause_s: float = PAUSE_S,
        room: HeldBodies | None = None,
    ) -> None:
        self.app, self.limit, self.pause_s = app, limit, pause_s
        self.room = room or HeldBodies()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, its body read (up to the limit) beforehand."""
        if scope["type"] != "http" or scope["method"] in SAFE_METHODS:
            await self.app(scope, receive, send)
            return
        limit = self._limit(scope)
        announced = Headers(scope=scope).get("content-length")
        if announced is not None and not (
            announced.isascii() and announced.isdigit() and len(announced) < 12
            and int(announced) <= limit
        ):  # fmt: skip
            await _too_much(scope, limit)(scope, receive, send)
            return
        address = (scope.get("client") or ("",))[0]
        size = limit if announced is None else int(announced)
        with self.room.kept(address, size) as fits:
            if not fits:
                await _too_many(scope)(scope, receive, send)
                return
            try:
                body = await self._read(receive, limit)
            except TimeoutError:
                await _too_slow(scope)(scope, receive, send)
                return
            if body is None:
                await _too_much(scope, limit)(scope, receive, send)
                return
            scope.setdefault("state", {})[BODY] = body
            await self.app(scope, replay(body, receive), send)

    def _limit(self, scope: Scope) -> int:
        if scope.get("state", {}).get(IS_STRANGER):
            return min(SMALL_BODY_BYTES, self.limit)
        is_file = FILE_PATH.fullmatch(scope["path"]) and self.limit == MAX_BODY_BYTES
        return MAX_FILE_BYTES if is_file else self.limit

    async def _read(self, receive: Receive, limit: int) -> bytes | None:
        """The whole body; None where it is too large.

        Raises
        ------
        TimeoutError
        """
        body, began = bytearray(), time.monotonic()
        while True:
            left = FIRST_S + len(body) / BYTES_PER_S - (time.monotonic() - began)
            with anyio.fail_after(max(min(self.pause_s, left), 0.0)):
                message = await receive()
            body += message.get("body", b"")
            if len(body) > limit:
                return None
            if message["type"] == "http.disconnect" or not message.get("more_body", False):
                return bytes(body)


def replay(body: bytes, receive: Receive) -> Receive:
    """A receive that hands out a body already read, then goes on as before."""
    pending: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]

    async def receive_again() -> Message:
        return pending.pop() if pending else await receive()

    return receive_again


async def form_pairs(scope: Scope, body: bytes) -> list[tuple[str, str]]:
    """The fields of a form that came, files left out; nothing where it cannot be read."""
    kind = Headers(scope=scope).get("content-type", "")
    if not kind.startswith(("application/x-www-form-urlencoded", "multipart/form-data")):
        return []

    async def nothing() -> Message:
        return {"type": "http.disconnect"}

    request = Request({**scope, "app": None}, replay(body, nothing))
    try:
        form = await request.form(max_files=4, max_fields=MOST_FIELDS, max_part_size=LARGEST_PART)
    except (MultiPartException, HTTPException, ValueError):
        return []
    found = [(name, value) for name, value in form.multi_items() if isinstance(value, str)]
    await form.close()
    return found[:MOST_FIELDS]


def _too_much(scope: Scope, limit: int) -> Response:
    detail = say("A request may carry at most {limit:,} bytes.", limit=limit)
    return _closing(error_page(Request(scope), 413, say("That is too much at once"), detail))


def _too_slow(scope: Scope) -> Response:
    detail = say("The request stopped before it was whole. Nothing was written: send it again.")
    return _closing(error_page(Request(scope), 408, say("That took too long to arrive"), detail))


def _too_many(scope: Scope) -> Response:
    detail = say("Much is coming in just now. Nothing was written: send it again in a moment.")
    answer = _closing(error_page(Request(scope), 503, say("Too much at once"), detail))
    answer.headers["Retry-After"] = "10"
    return answer


def _closing(answer: Response) -> Response:
    """What has not come in yet of a refused request is not waited for."""
    answer.headers["Connection"] = "close"
    return answer
