"""How many may be connected, for how long: so that nobody's idle connections shut others out.

The server's own protocol waits for ever for the head of a request and takes any number of
connections. This one gives a head ten seconds and closes whichever connection has waited longest
once there are too many, from one address or in all.
"""

from __future__ import annotations

import asyncio
from typing import Any

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

HEAD_S = 10.0  # for the head of a request to come in
ANSWER_S = 600.0  # for a request to come in whole and be answered
PER_ADDRESS, IN_ALL = 64, 256
SPARE_FILES = 128  # for the cellar, the pages and everything else
LONGEST_HEAD, MOST_HEADERS = 32_000, 100
_WORDS = b"Too many connections: try again in ten seconds.\n"
FULL = (
    b"HTTP/1.1 503 Service Unavailable\r\nretry-after: 10\r\nconnection: close\r\n"
    b"content-type: text/plain; charset=utf-8\r\n"
    b"content-length: " + str(len(_WORDS)).encode() + b"\r\n\r\n" + _WORDS
)


def most_open() -> int:
    """As many connections as the process may have files open, less a few for everything else."""
    try:
        import resource
    except ImportError:  # Windows has no such limit
        return IN_ALL
    soft, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft == resource.RLIM_INFINITY:
        return IN_ALL
    return max(min(IN_ALL, soft - SPARE_FILES), 16)


class Door:
    """The connections that are open, by address.

    Parameters
    ----------
    per_address, in_all : int
        The most that are let in.
    """

    def __init__(self, per_address: int = PER_ADDRESS, in_all: int | None = None) -> None:
        self.per_address, self.in_all = per_address, in_all or most_open()
        self._open: dict[GuardedProtocol, str] = {}  # the one that came first is first

    def enter(self, protocol: GuardedProtocol, address: str) -> bool:
        """Let a connection in; where there are too many, one that waits has to go for it."""
        same = [p for p, where in self._open.items() if where == address]
        if len(same) >= self.per_address:
            crowd = same
        elif len(self._open) >= self.in_all:
            crowd = self._of_the_busiest()
        else:
            crowd = []
        if crowd:
            idle = next((p for p in crowd if p.is_waiting), None)
            if idle is None:
                return False
            idle.leave()
        self._open[protocol] = address
        return True

    def _of_the_busiest(self) -> list[GuardedProtocol]:
        """Idle connections of the address with the most; of any where that one has none."""
        counts: dict[str, int] = {}
        for protocol, where in self._open.items():
            if protocol.is_waiting:
                counts[where] = counts.get(where, 0) + 1
        if not counts:
            return list(self._open)
        worst = max(counts, key=lambda where: counts[where])
        return [p for p, where in self._open.items() if where == worst]

    def left(self, protocol: GuardedProtocol) -> None:
        """Forget a connection that is closed."""
        self._open.pop(protocol, None)

    def __len__(self) -> int:
        return len(self._open)


class GuardedProtocol(HttpToolsProtocol):
    """A connection that is closed when it keeps the server waiting."""

    door: Door
    head_s, answer_s = HEAD_S, ANSWER_S

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self._timer: asyncio.TimerHandle | None = None
        self._head_bytes = 0
        self.is_waiting = True  # for a request, or for the rest of its head

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Let it in, or tell it to come again."""
        super().connection_made(transport)
        if not self.door.enter(self, self.client[0] if self.client else ""):
            transport.write(FULL)
            transport.close()
            return
        self._within(self.head_s)

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget it."""
        self._within(None)
        self.door.left(self)
        super().connection_lost(exc)

    def on_message_begin(self) -> None:
        """A request begins; its head has to come in time."""
        super().on_message_begin()
        self._head_bytes = 0
        if self.cycle is None or self.cycle.response_complete:
            self._within(self.head_s)

    def on_url(self, url: bytes) -> None:
        """A part of the address."""
        self._count(len(url))
        super().on_url(url)

    def on_header(self, name: bytes, value: bytes) -> None:
        """A line of the head."""
        self._count(len(name) + len(value))
        if len(self.headers) >= MOST_HEADERS:
            raise ValueError("too many headers")
        super().on_header(name, value)

    def _count(self, size: int) -> None:
        self._head_bytes += size
        if self._head_bytes > LONGEST_HEAD:
            raise ValueError("too long a head")

    def on_headers_complete(self) -> None:
        """The head is there: what remains is the body's time and the answer's."""
        self.is_waiting = False
        self._within(self.answer_s)
        super().on_headers_complete()

    def on_response_complete(self) -> None:
        """Answered: the connection waits for the next request, for as long as uvicorn lets it."""
        self.is_waiting = not self.pipeline
        self._within(None if self.is_waiting else self.answer_s)
        super().on_response_complete()

    def leave(self) -> None:
        """Close it at once."""
        self._within(None)
        self.door.left(self)
        if self.transport is not None:
            self.transport.abort()

    def _within(self, seconds: float | None) -> None:
        """Close it unless something happens within so many seconds."""
        if self._timer is not None:
            self._timer.cancel()
        self._timer = None if seconds is None else self.loop.call_later(seconds, self.leave)


def protocol_of(door: Door, head_s: float = HEAD_S) -> type[GuardedProtocol]:
    """The protocol of a server with its own door."""
    return type("Guarded", (GuardedProtocol,), {"door": door, "head_s": head_s})
