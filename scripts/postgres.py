"""A PostgreSQL of our own for the tests: installed where apt can, started in a folder, and ended.

``python scripts/postgres.py run COMMAND...`` starts a server on a socket and a free loopback port,
sets MUSTWRIGHT_TEST_DATABASE to its address, runs the command and ends the server. Where none can
be had it says so loudly and runs the command without it: tests on PostgreSQL are skipped then.
"""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

VARIABLE = "MUSTWRIGHT_TEST_DATABASE"
FLAGS = "-c fsync=off -c full_page_writes=off -c max_connections=60"


def programs() -> Path | None:
    """Where initdb and pg_ctl are, newest version first; None where they are not."""
    folders = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: p.parent.name)
    found = [p for p in folders if (p / "initdb").exists() and (p / "pg_ctl").exists()]
    if found:
        return found[-1]
    here = shutil.which("initdb")
    return Path(here).resolve().parent if here and shutil.which("pg_ctl") else None


def install() -> Path | None:
    """Install it by apt, as root only."""
    if os.geteuid() != 0 or not shutil.which("apt-get"):
        return None
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    environment = os.environ | {"DEBIAN_FRONTEND": "noninteractive"}
    for command in (["apt-get", "update"], ["apt-get", "install", "-y", "postgresql"]):
        if subprocess.run(command, env=environment, check=False, **quiet).returncode:
            return None
    return programs()


@contextmanager
def server() -> Iterator[str | None]:
    """The address of a server that lasts as long as the block; None where there is none."""
    where = programs() or install()
    if where is None:
        yield None
        return
    folder = Path(tempfile.mkdtemp(prefix="mustwright-pg-"))
    try:
        owner = _owner(folder)
        port = _free_port()
        data = folder / "data"
        _run(owner, where / "initdb", "-D", data, "-U", "mead", "-A", "trust", "-E", "UTF8")
        options = f"{FLAGS} -c listen_addresses=127.0.0.1 -p {port} -k {folder}"
        _run(
            owner, where / "pg_ctl", "-D", data, "-w", "-l", folder / "log", "-o", options, "start"
        )
        try:
            yield f"postgresql://mead@127.0.0.1:{port}/postgres"
        finally:
            _run(owner, where / "pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _owner(folder: Path) -> str | None:
    """The user it runs as: it refuses root."""
    if os.geteuid() != 0:
        return None
    for name in ("postgres", "nobody"):
        try:
            user = pwd.getpwnam(name)
        except KeyError:
            continue
        os.chown(folder, user.pw_uid, user.pw_gid)
        return name
    raise RuntimeError("no user but root to run PostgreSQL as")


def _run(owner: str | None, *command: object) -> None:
    done = subprocess.run(
        [str(part) for part in command],
        user=owner,
        cwd="/",
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    if done.returncode:
        raise RuntimeError(f"{command[0]} failed: {done.stderr.strip()[-400:]}")


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def main(arguments: list[str]) -> int:
    """Run a command beside a server."""
    if len(arguments) < 2 or arguments[0] != "run":
        print("postgres: needs run COMMAND...", file=sys.stderr)
        return 2
    if os.environ.get(VARIABLE):
        return subprocess.run(arguments[1:], check=False).returncode
    began = time.monotonic()
    with server() as address:
        if address is None:
            print("=" * 78, file=sys.stderr)
            print("NO POSTGRESQL COULD BE HAD: ITS TESTS ARE SKIPPED, NOT PASSED", file=sys.stderr)
            print("=" * 78, file=sys.stderr)
        else:
            print(f"postgres: ready in {time.monotonic() - began:.1f} s", file=sys.stderr)
            os.environ[VARIABLE] = address
        return subprocess.run(arguments[1:], check=False).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
