"""How are the pages served: one worker, on a socket that is already listening."""

from __future__ import annotations

import os
import signal
import socket
import sys
import threading

import uvicorn

from mustwright.compose import Compose
from mustwright.kinetics.ready import cache_folder, warm_up_behind
from mustwright.kinetics.thread_affinity import keep_to_one_core
from mustwright.web.access import Access
from mustwright.web.app import create_app
from mustwright.web.connections import Door, protocol_of


class ToldToStop:
    """Ctrl-C from the moment this is made: remembered, not raised into whatever runs just then.

    Only the main thread can make one.
    """

    def __init__(self) -> None:
        self._told = threading.Event()
        signal.signal(signal.SIGINT, lambda *_: self._told.set())

    def __bool__(self) -> bool:
        return self._told.is_set()


class _Server(uvicorn.Server):
    """A server that also obeys a Ctrl-C from before it was up."""

    told: ToldToStop

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.told:
            self.should_exit = True


def keep_requests_together() -> None:
    """Let the threads that take and answer requests share a core.

    Only once the code is compiled: it counts the cores of the thread that imports it.
    """
    workers = (t for t in threading.enumerate() if t.name.startswith("AnyIO worker thread"))
    keep_to_one_core([threading.main_thread(), *workers])


def run(
    compose: Compose,
    listener: socket.socket,
    told: ToldToStop,
    access: Access | None = None,
    pair: tuple[str, str] | None = None,
) -> None:
    """Serve until told to stop; open connections get two seconds to finish.

    The forecast is compiled meanwhile, in a thread of its own. If that is still running when the
    pages are closed, the process ends at once: nothing waits for a compiler, and everything that
    was acknowledged is on the disk by then.

    Parameters
    ----------
    pair : tuple of str or None
        Files of a certificate and its key, for https.
    """
    compiling = warm_up_behind(cache_folder(compose.home), keep_requests_together)
    config = uvicorn.Config(
        create_app(compose, access),
        http=protocol_of(Door()),
        ws="none",
        access_log=False,
        log_level="warning",
        proxy_headers=False,
        server_header=False,
        timeout_graceful_shutdown=2,
        ssl_certfile=pair[0] if pair else None,
        ssl_keyfile=pair[1] if pair else None,
    )
    server = _Server(config)
    server.told = told
    server.run(sockets=[listener])
    compose.close()
    if compiling.is_alive():
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(0)
