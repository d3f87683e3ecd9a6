"""A `mustwright serve` of its own for a test: a free port, a folder of its own."""

from __future__ import annotations

import json
import os
import re
import select
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

COMMAND = (sys.executable, "-m", "mustwright")


@contextmanager
def serving(home: Path, *options: str, command: tuple[str, ...] = COMMAND) -> Iterator[str]:
    """Run the pages until the block ends; gives their address; they must close when told to."""
    environment = os.environ | {"MUSTWRIGHT_HOME": str(home)}
    process = subprocess.Popen(
        [*command, "serve", *options], env=environment, stdout=subprocess.PIPE, text=True
    )
    try:
        yield address(process)
    finally:
        process.send_signal(signal.SIGINT)
        try:
            process.wait(timeout=10)
        finally:
            process.kill()
            process.communicate()
    assert process.returncode == 0, f"serve ended with {process.returncode} on Ctrl-C"


def address(process: subprocess.Popen[str], seconds: float = 30) -> str:
    """The address that serve prints once it listens."""
    assert process.stdout is not None
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline and process.poll() is None:
        if select.select([process.stdout], [], [], 0.2)[0]:
            line = process.stdout.readline()
            if found := re.search(r"https?://\S+:\d+", line):
                return found[0]
    raise AssertionError(f"serve printed no address within {seconds:g} s")


def wait_for_forecast(address: str, seconds: float = 120) -> None:
    """Until /health says that the forecast is compiled."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        with urllib.request.urlopen(f"{address}/health", timeout=10) as answer:
            if json.load(answer)["forecast"] == "ready":
                return
        time.sleep(0.1)
    raise AssertionError(f"no forecast within {seconds:g} s")
