"""The pages served to a real browser from this process, so that a test can set their clock."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import uvicorn

from mustwright.compose import Compose
from mustwright.kinetics import ready
from mustwright.services.demo import seed_demo
from mustwright.web.access import Access
from mustwright.web.app import create_app


@contextmanager
def playing(compose: Compose) -> Iterator[str]:
    """Serve a cellar with the demo in it until the block ends; gives the address."""
    ready.warm_up()
    seed_demo(compose.cellar)
    try:
        with answering(compose) as port:
            yield f"http://127.0.0.1:{port}"
    finally:
        compose.close()


@contextmanager
def answering(compose: Compose, port: int = 0, access: Access | None = None) -> Iterator[int]:
    """Answer on a port of this machine until the block ends; the cellar stays open."""
    listener = socket.create_server(("127.0.0.1", port))
    config = uvicorn.Config(
        create_app(compose, access),
        access_log=False,
        log_level="warning",
        timeout_graceful_shutdown=1,
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    try:
        deadline = time.monotonic() + 20
        while not server.started and time.monotonic() < deadline:
            time.sleep(0.02)
        assert server.started, "the pages did not start"
        yield listener.getsockname()[1]
    finally:
        server.should_exit = True
        thread.join(timeout=15)
        listener.close()
