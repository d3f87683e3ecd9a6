"""A server under attack from one address: memory bounded, others still served.

All of it goes to 127.0.0.1. The numbers are those of the attacks that once worked; what came of
each is printed (``pytest -s``) for the page on trust.
"""

from __future__ import annotations

import os
import re
import socket
import subprocess
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from mustwright.compose import Compose
from mustwright.services.access import set_passphrase
from serving import COMMAND, address, wait_for_forecast

MOST_MB = 400
IDLE, UNFINISHED, BODY_BYTES = 1100, 40, 14_000_000


@contextmanager
def server(home: Path, *options: str, files: int = 1024) -> Iterator[tuple[subprocess.Popen, str]]:
    """A server that may have so many files open, as a login shell gives it."""
    command = ["sh", "-c", f'ulimit -n {files}; exec "$@"', "sh", *COMMAND, "serve", *options]
    environment = os.environ | {"MUSTWRIGHT_HOME": str(home)}
    process = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True)
    try:
        found = address(process)
        wait_for_forecast(found)
        yield process, found
    finally:
        process.kill()
        process.communicate()


def memory_mb(process: subprocess.Popen) -> float:
    """The most it ever held."""
    status = Path(f"/proc/{process.pid}/status").read_text()
    return int(re.search(r"VmHWM:\s+(\d+)", status)[1]) / 1024


def connected(where: str) -> socket.socket:
    host, port = where.removeprefix("http://").split(":")
    return socket.create_connection((host, int(port)), timeout=5)


def served(where: str, path: str = "/login") -> float:
    """How long an ordinary page takes meanwhile [s]."""
    began = time.monotonic()
    with urllib.request.urlopen(f"{where}{path}", timeout=10) as answer:
        assert answer.status == 200
    return time.monotonic() - began


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="reads /proc")
def test_a_thousand_idle_connections_shut_nobody_out(tmp_path):
    with server(tmp_path, "--port", "0", "--no-seed") as (process, where):
        held = []
        try:
            for i in range(IDLE):
                held.append(connected(where))
                if i % 3 == 1:
                    held[-1].sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Drip: ")
                if i % 100 == 99:
                    assert served(where) < 5
            open_files = len(os.listdir(f"/proc/{process.pid}/fd"))
            slowest = max(served(where) for _ in range(20))
        finally:
            for one in held:
                one.close()
        print(f"idle {IDLE}: {open_files} files, slowest page {slowest:.2f} s, "
              f"{memory_mb(process):.0f} MB")  # fmt: skip
        assert open_files < 300
        assert slowest < 3
        assert memory_mb(process) < MOST_MB


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="reads /proc")
@pytest.mark.parametrize("is_locked", [True, False])
def test_unfinished_bodies_hold_little_and_not_for_long(is_locked, tmp_path):
    options = ["--port", "0", "--no-seed"]
    if is_locked:
        compose = Compose(tmp_path)
        set_passphrase(compose.ledger, "heather and gorse")
        compose.close()
        options += ["--lan", "--host", "127.0.0.1"]
    with server(tmp_path, *options) as (process, where):
        host = where.removeprefix("http://")
        head = (
            f"POST /batches/x/photos HTTP/1.1\r\nHost: {host}\r\nOrigin: {where}\r\n"
            f"Content-Type: application/octet-stream\r\nContent-Length: {BODY_BYTES}\r\n\r\n"
        ).encode()
        before = memory_mb(process)
        held = []
        try:
            for _ in range(UNFINISHED):
                one = connected(where)
                held.append(one)
                one.sendall(head)
                one.setblocking(False)
                sent, part, until = 0, b"x" * 65536, time.monotonic() + 0.3
                while sent < BODY_BYTES - 65536 and time.monotonic() < until:
                    try:
                        sent += one.send(part)
                    except BlockingIOError:
                        time.sleep(0.01)
                    except OSError:
                        break
            slowest = max(served(where) for _ in range(10))
            peak = memory_mb(process)
            time.sleep(12)  # longer than a body may pause
            answered = sum(_was_answered(one) for one in held)
        finally:
            for one in held:
                one.close()
        print(f"unfinished {UNFINISHED} of {BODY_BYTES / 1e6:.0f} MB, locked {is_locked}: "
              f"{before:.0f} to {peak:.0f} MB, slowest page {slowest:.2f} s, "
              f"{answered} ended by the server")  # fmt: skip
        assert peak < MOST_MB
        assert slowest < 3
        assert answered == UNFINISHED


def _was_answered(one: socket.socket) -> bool:
    """Whether the server answered and closed, or cut the connection."""
    one.settimeout(3)
    try:
        while one.recv(65536):
            pass
    except TimeoutError:
        return False
    except OSError:
        return True
    return True
