"""The pages over a cellar whose clock a test sets, served to a real browser from this process."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import uvicorn

from mustwright.compose import Compose
from mustwright.services.demo import seed_demo
from mustwright.web.app import create_app

START = datetime(2031, 5, 1, 17, 30, tzinfo=UTC)


@dataclass
class Played:
    """A cellar, where it is served, and its clock."""

    compose: Compose
    address: str
    now: datetime = START

    def pass_hours(self, hours: float) -> None:
        """Let time go on."""
        self.now += timedelta(hours=hours)


@contextmanager
def playing(home: Path, now: datetime = START) -> Iterator[Played]:
    """Serve until the block ends."""
    listener = socket.create_server(("127.0.0.1", 0))
    compose = Compose(home, zone=UTC)
    played = Played(compose, f"http://127.0.0.1:{listener.getsockname()[1]}", now)
    compose.clock = lambda: played.now
    seed_demo(compose.cellar)
    config = uvicorn.Config(create_app(compose), access_log=False, log_level="warning")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    try:
        deadline = time.monotonic() + 20
        while not server.started and time.monotonic() < deadline:
            time.sleep(0.02)
        assert server.started, "the pages did not start"
        yield played
    finally:
        server.should_exit = True
        thread.join(timeout=15)
        listener.close()
        compose.close()
