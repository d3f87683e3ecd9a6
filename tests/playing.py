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
from mustwright.web.app import create_app


@contextmanager
def playing(compose: Compose) -> Iterator[str]:
    """Serve a cellar with the demo in it until the block ends; gives the address."""
    ready.warm_up()
    listener = socket.create_server(("127.0.0.1", 0))
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
        yield f"http://127.0.0.1:{listener.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(timeout=15)
        listener.close()
        compose.close()
