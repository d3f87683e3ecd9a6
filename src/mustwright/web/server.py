"""How are the pages served: one worker, on a socket that is already listening."""

from __future__ import annotations

import socket

import uvicorn

from mustwright.compose import Compose
from mustwright.kinetics.ready import cache_folder, warm_up_behind
from mustwright.web.access import Access
from mustwright.web.app import create_app


def run(compose: Compose, listener: socket.socket, access: Access | None = None) -> None:
    """Serve until told to stop; open connections get two seconds to finish.

    The forecast is compiled meanwhile, in a thread of its own.
    """
    warm_up_behind(cache_folder(compose.home))
    config = uvicorn.Config(
        create_app(compose, access),
        access_log=False,
        log_level="warning",
        proxy_headers=False,
        server_header=False,
        timeout_graceful_shutdown=2,
    )
    uvicorn.Server(config).run(sockets=[listener])
