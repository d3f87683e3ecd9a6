"""How does .venv come to be: made, filled from the hashed lock, stamped as ready last of all.

Run by start and check through setup.sh with the Python that .venv shall use; standard library
only. A file lock, which the kernel drops when its holder dies, lets two runs at once share the
work; a mark left by a broken-off run makes the next one begin from nothing.
"""

from __future__ import annotations

import fcntl
import shutil
import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent.parent
LOCKS = {"run": "requirements.lock", "dev": "requirements-dev.lock"}


class SetupError(Exception):
    """Set-up cannot go on; the text says what the maker can do."""


def main(kind: str, here: Path = HERE) -> None:
    """Complete .venv for `kind` (run or dev) unless another run has just done so."""
    with (here / ".setup.lock").open("w") as handle:
        if not _try_lock(handle.fileno()):
            say("another run is setting up; waiting for it")
            fcntl.flock(handle, fcntl.LOCK_EX)
        if not is_ready(here, kind):
            set_up(here, kind)


def _try_lock(descriptor: int) -> bool:
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def stamp(here: Path, kind: str) -> bytes:
    """What .venv was completed for; setup.sh compares the very same bytes."""
    python = here / ".venv/bin/python"
    version = subprocess.run([python, "-V"], capture_output=True, check=True).stdout
    parts = (here / LOCKS[kind], here / "pyproject.toml")
    return version + f"{here}\n".encode() + b"".join(p.read_bytes() for p in parts)


def is_ready(here: Path, kind: str) -> bool:
    """Whether .venv was completed for this Python, folder, lock and pyproject.toml."""
    ready = here / ".venv" / f"ready-{kind}"
    try:
        return ready.read_bytes() == stamp(here, kind)
    except (OSError, subprocess.CalledProcessError):
        return False


def set_up(here: Path, kind: str) -> None:
    """Make .venv if need be, install the lock and the project, and stamp it ready."""
    began = time.monotonic()
    say("setting up .venv (first use or changed requirements; takes about a minute, needs the net)")
    venv = here / ".venv"
    for old in venv.glob("ready-*"):
        old.unlink()
    unfinished = venv / "unfinished"
    if unfinished.exists() or not works(venv):
        shutil.rmtree(venv, ignore_errors=True)
        venv.mkdir()
        unfinished.touch()
        make_venv(venv)
    unfinished.touch()
    pip = pip_command(venv)
    run(*pip, "install", "-qq", "--require-hashes", "-r", str(here / LOCKS[kind]))
    run(*pip, "install", "-qq", "--no-deps", "--no-build-isolation", "-e", str(here))
    run(str(venv / "bin/python"), "-m", "compileall", "-q", str(here / "src"))
    unfinished.unlink()
    for done in ("run", "dev") if kind == "dev" else ("run",):  # the dev lock holds the other
        (venv / f"ready-{done}").write_bytes(stamp(here, done))
    say(f"ready after {time.monotonic() - began:.0f} s")


def works(venv: Path) -> bool:
    """Whether the virtual environment runs a Python that is new enough."""
    new_enough = "import sys; sys.exit(sys.version_info < (3, 11))"
    try:
        return subprocess.run([venv / "bin/python", "-c", new_enough]).returncode == 0
    except OSError:
        return False


def make_venv(venv: Path) -> None:
    """An empty virtual environment, without pip where this Python has no ensurepip."""
    with_pip = subprocess.run([sys.executable, "-c", "import ensurepip"], capture_output=True)
    no_pip = [] if with_pip.returncode == 0 else ["--without-pip"]
    if no_pip and not answers(sys.executable, "-m", "pip", "--version"):
        raise SetupError(
            "this Python has neither ensurepip nor pip; on Debian and Ubuntu run"
            " 'apt install python3-venv', then try again"
        )
    run(sys.executable, "-m", "venv", *no_pip, str(venv))


def pip_command(venv: Path) -> list[str]:
    """The pip of the environment, or this Python's pip pointed at it."""
    python = str(venv / "bin/python")
    if answers(python, "-m", "pip", "--version"):
        return [python, "-m", "pip"]
    return [sys.executable, "-m", "pip", "--python", python]


def answers(*command: str) -> bool:
    """Whether a command runs and says it is well."""
    return subprocess.run(command, capture_output=True).returncode == 0


def run(*command: str) -> None:
    """Run one step with its output on stderr, or stop with what failed."""
    code = subprocess.run(command, stdout=sys.stderr).returncode
    if code:
        raise SetupError(f"set-up step failed with exit code {code}: {' '.join(command)}")


def say(text: str) -> None:
    """One line to the maker, on stderr."""
    print(f"mustwright: {text}", file=sys.stderr, flush=True)


if __name__ == "__main__":
    try:
        main(sys.argv[1])
    except SetupError as error:
        sys.exit(f"mustwright: {error}")
    except OSError as error:
        sys.exit(f"mustwright: set-up failed: {error}")
    except KeyboardInterrupt:
        sys.exit("mustwright: set-up broken off; the next run begins it anew")
