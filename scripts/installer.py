"""Which program fills .venv from the hashed lock: a pinned uv that is put there first, or pip.

uv takes seconds where pip takes a minute. It comes from a hashed lock of its own, by pip, which
every set-up has; where it has no wheel, does not answer or cannot install, pip does the work. uv
reads nothing of pip's configuration, so `uv_environment` hands it over at run time and no address
stands in a file. Standard library only.
"""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path

UV_LOCK = "requirements-uv.lock"
SECONDS_TO_ANSWER = 60.0
TRUE = {"1", "true", "yes", "on", "y", "t"}

Run = Callable[..., None]


class StepError(Exception):
    """A step of the set-up failed; the text names it and tells what it said."""


class Installer:
    """Fills one virtual environment.

    Parameters
    ----------
    here : Path
        Folder of the project, with its locks.
    run : callable
        Given what is done, for the maker, and the words of a command: runs it (in the environment
        `env` where there is one) or raises `StepError`.
    say : callable
        Tells the maker a line.
    """

    def __init__(self, here: Path, run: Run, say: Callable[[str], None]) -> None:
        self.here, self.run, self.say = here, run, say
        self.python = str(here / ".venv/bin/python")
        self.pip = pip_command(self.python)
        self.uv = self._uv()

    def lock(self, name: str) -> None:
        """Install every package of a lock, each held to its hash."""
        lock = self.here / name
        doing = f"installing {packages_in(lock)} packages"
        self._install(doing, "--require-hashes", "-r", str(lock))

    def project(self) -> None:
        """Install the project itself, by the build back end the lock has brought."""
        self._install(
            "installing mustwright", "--no-deps", "--no-build-isolation", "-e", str(self.here)
        )

    def _uv(self) -> str | None:
        """The uv of the lock, once it has answered; None where it cannot be had."""
        uv = str(self.here / ".venv/bin/uv")
        wanted = ("--require-hashes", "--only-binary", ":all:", "-r", str(self.here / UV_LOCK))
        try:
            self.run("fetching uv", *self.pip, "install", "-qq", "--retries", "2", *wanted)
        except StepError as error:
            return self._without_uv(error)
        return uv if answers(uv, "--version") else self._without_uv("it does not answer")

    def _without_uv(self, reason: object) -> None:
        self.say(f"uv cannot be used here, going on with pip, which takes longer: {reason}")

    def _install(self, doing: str, *what: str) -> None:
        if self.uv is not None:
            command = (self.uv, "pip", "install", "-q", "--python", self.python, *what)
            try:
                self.run(doing, *command, env=uv_environment(pip_options(self.pip), os.environ))
            except StepError as error:
                self.uv = self._without_uv(error)
            else:
                return
        self.run(doing, *self.pip, "install", "-qq", *what)


def packages_in(lock: Path) -> int:
    """How many packages a lock names."""
    return sum("==" in line for line in lock.read_text(encoding="utf-8").splitlines())


def pip_command(python: str) -> list[str]:
    """The pip of the environment, or this Python's pip pointed at it."""
    if answers(python, "-m", "pip", "--version"):
        return [python, "-m", "pip"]
    return [sys.executable, "-m", "pip", "--python", python]


def answers(*command: str) -> bool:
    """Whether a command runs and says it is well."""
    try:
        done = subprocess.run(
            command, stdin=subprocess.DEVNULL, capture_output=True, timeout=SECONDS_TO_ANSWER
        )
    except (OSError, subprocess.TimeoutExpired):
        return False
    return done.returncode == 0


def pip_options(pip: list[str]) -> dict[str, str]:
    """The options that pip takes from its files and the environment, the strongest of each name."""
    shown = subprocess.run(
        [*pip, "config", "list"], stdin=subprocess.DEVNULL, capture_output=True, text=True
    )
    return options_from(shown.stdout)


def options_from(listing: str) -> dict[str, str]:
    """Read what ``pip config list`` says: the environment beats install beats global."""
    found: dict[str, str] = {}
    for section in ("global.", "install.", ":env:."):
        for line in listing.splitlines():
            name, _, value = line.partition("=")
            if name.startswith(section):
                with suppress(ValueError, SyntaxError):  # not as pip writes them
                    found[name.removeprefix(section)] = str(ast.literal_eval(value))
    return found


def uv_environment(pip: Mapping[str, str], environment: Mapping[str, str]) -> dict[str, str]:
    """The environment in which uv looks where pip would; what is already there for uv stays."""
    told = {
        "UV_DEFAULT_INDEX": pip.get("index-url"),
        "UV_INDEX": _spaced(pip.get("extra-index-url")),
        "UV_FIND_LINKS": _spaced(pip.get("find-links")).replace(" ", ","),
        "UV_NO_INDEX": "true" if pip.get("no-index", "").lower() in TRUE else "",
        "UV_INSECURE_HOST": _spaced(pip.get("trusted-host")),
        "UV_HTTP_TIMEOUT": pip.get("timeout") or pip.get("default-timeout"),
        "SSL_CERT_FILE": pip.get("cert"),
        "SSL_CLIENT_CERT": pip.get("client-cert"),
        "ALL_PROXY": pip.get("proxy"),
        # pip takes the wanted release from whichever index has it; the hashes say it is the one.
        "UV_INDEX_STRATEGY": "unsafe-best-match",
    }
    return {name: value for name, value in told.items() if value} | dict(environment)


def _spaced(words: str | None) -> str:
    """Words parted by one space; pip also takes several lines."""
    return " ".join((words or "").split())
