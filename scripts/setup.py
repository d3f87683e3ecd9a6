"""How does .venv come to be: made, filled from the hashed lock, stamped as ready last of all.

Run by start and check through setup.sh with the Python that .venv shall use; standard library
only; `installer` says what fills it. A file lock, which the kernel drops when its holder dies, lets
two runs at once share the work; a mark left by a broken-off run makes the next one begin from
nothing.
"""

from __future__ import annotations

import fcntl
import shutil
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

from installer import Installer, StepError, answers

HERE = Path(__file__).resolve().parent.parent
LOCKS = {"run": "requirements.lock", "dev": "requirements-dev.lock"}


class SetupError(StepError):
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
    say("setting up .venv (first use or changed requirements; needs the net)")
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
    installer = Installer(here, run, say)
    installer.lock(LOCKS[kind])
    installer.project()
    unfinished.unlink()
    for done in ("run", "dev") if kind == "dev" else ("run",):  # the dev lock holds the other
        (venv / f"ready-{done}").write_bytes(stamp(here, done))
    say(f"ready after {time.monotonic() - began:.0f} s")
    compile_behind(here)


def works(venv: Path) -> bool:
    """Whether the virtual environment runs a Python that is new enough."""
    new_enough = "import sys; sys.exit(sys.version_info < (3, 11))"
    try:
        return subprocess.run([venv / "bin/python", "-c", new_enough]).returncode == 0
    except OSError:
        return False


def make_venv(venv: Path) -> None:
    """An empty virtual environment; with a pip of its own only where this Python's cannot serve it.

    Bringing pip takes longer than everything else of an empty environment, and Debian's Python may
    be unable to.
    """
    doing, python = "making an empty environment", str(venv / "bin/python")
    run(doing, sys.executable, "-m", "venv", "--without-pip", str(venv))
    if answers(sys.executable, "-m", "pip", "--python", python, "--version"):
        return
    if not answers(python, "-c", "import ensurepip"):
        raise SetupError(
            "this Python has neither ensurepip nor a pip of version 22.3 or newer; on Debian and"
            " Ubuntu run 'apt install python3-venv', then try again"
        )
    run(doing, python, "-m", "ensurepip", "--default-pip")


def compile_behind(here: Path) -> subprocess.Popen[bytes]:
    """Begin to compile all that was installed to bytecode, out of the way of what comes next.

    It goes on when this process has ended. Broken off, it leaves nothing half made: Python compiles
    what it finds uncompiled when it is used.
    """
    gently = ("nice", "-n", "19") if shutil.which("nice") else ()
    everything = (here / "src", here / ".venv/lib")
    return subprocess.Popen(
        [*gently, here / ".venv/bin/python", "-m", "compileall", "-q", *everything],
        cwd="/",
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )


def run(doing: str, *command: str, env: dict[str, str] | None = None) -> None:
    """Run one step with its output on stderr, saying what it does, or stop with what failed."""
    began, is_terminal = time.monotonic(), sys.stderr.isatty()
    if not is_terminal:
        say(doing)
    with subprocess.Popen(command, stdout=sys.stderr, env=env, cwd=HERE) as process:
        try:
            while process.poll() is None:
                if is_terminal:
                    progress(f"mustwright: {doing}, {time.monotonic() - began:.0f} s")
                with suppress(subprocess.TimeoutExpired):
                    process.wait(timeout=0.5)
        except BaseException:
            process.kill()
            raise
    if is_terminal:
        progress("")
    if process.returncode:
        raise SetupError(
            f"set-up step failed with exit code {process.returncode}: {' '.join(command)}"
        )


def progress(text: str) -> None:
    """Write over the line that the cursor of the terminal is on."""
    print(f"\r\x1b[K{text}", end="", file=sys.stderr, flush=True)


def say(text: str) -> None:
    """One line to the maker, on stderr."""
    print(f"mustwright: {text}", file=sys.stderr, flush=True)


if __name__ == "__main__":
    try:
        main(sys.argv[1])
    except StepError as error:
        sys.exit(f"mustwright: {error}")
    except OSError as error:
        sys.exit(f"mustwright: set-up failed: {error}")
    except KeyboardInterrupt:
        sys.exit("mustwright: set-up broken off; the next run begins it anew")
