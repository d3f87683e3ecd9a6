"""Is any package that running needs known to be faulty: asks the public advisories by pip-audit.

``python scripts/advisories.py [LOCK ...]`` ends with 0 where every pinned release of the locks was
looked up and nothing is known against it, with 1 where something is, and with 75 where advisories
could not be had: that is no verdict, and is said aloud. pip-audit lives in an environment of its
own, from its own hashed lock. Nothing is sent but names and versions.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import installer

HERE = Path(__file__).resolve().parent.parent
AUDIT_LOCK = "requirements-audit.lock"
LOCKS = ("requirements.lock",)
NOT_CHECKED = 75  # as sysexits.h has it: try again later
SECONDS = 600.0


class NoVerdictError(Exception):
    """Advisories could not be had, for the reason given."""


@dataclass(frozen=True)
class Verdict:
    """What is known of the packages of a lock.

    Parameters
    ----------
    asked : int
        How many were looked up.
    faults : tuple of str
        A line for each known fault.
    """

    asked: int
    faults: tuple[str, ...]


def verdict_from(answer: str, pinned: int) -> Verdict:
    """What pip-audit's JSON says.

    Parameters
    ----------
    pinned : int
        How many packages the lock has that are wanted here; an answer about fewer is none.

    Raises
    ------
    NoVerdictError
    """
    try:
        packages = json.loads(answer)["dependencies"]
        skipped = [p["name"] for p in packages if "skip_reason" in p]
        looked_up = [p for p in packages if "skip_reason" not in p]
        faults = tuple(
            f"{p['name']} {p['version']}: {one['id']}, mended in "
            f"{', '.join(one['fix_versions']) or 'no release yet'}"
            for p in looked_up
            for one in p["vulns"]
        )
    except (ValueError, KeyError, TypeError):
        raise NoVerdictError("pip-audit gave no answer that can be read") from None
    if not faults and (skipped or len(looked_up) < pinned):
        missing = max(len(skipped), pinned - len(looked_up))
        such = f", such as {', '.join(skipped[:3])}" if skipped else ""
        raise NoVerdictError(f"no answer about {missing} of {pinned} packages{such}")
    return Verdict(len(looked_up), faults)


def audit(lock: Path, program: Path) -> Verdict:
    """Ask about one lock.

    Raises
    ------
    NoVerdictError
    """
    wanted = wanted_here(lock)
    command = [str(program), "--requirement", str(lock), "--disable-pip", "--require-hashes",
               "--format", "json", "--progress-spinner", "off", "--timeout", "20"]  # fmt: skip
    try:
        done = subprocess.run(
            command, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=SECONDS
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise NoVerdictError(str(error)) from None
    if not done.stdout.strip():
        raise NoVerdictError(last_words(done.stderr))
    return verdict_from(done.stdout, wanted)


def wanted_here(lock: Path) -> int:
    """How many packages of a lock this machine needs; those for another one are not asked for."""
    lines = lock.read_text(encoding="utf-8").splitlines()
    return sum("==" in line and ";" not in line for line in lines)


def last_words(text: str) -> str:
    """The last line that a program said."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return lines[-1][:300] if lines else "it said nothing"


def auditor(folder: Path) -> Path:
    """pip-audit in an environment of its own.

    Raises
    ------
    NoVerdictError
        When it cannot be installed.
    """
    uv = str(HERE / ".venv/bin/uv")
    options = installer.pip_options(installer.pip_command(str(HERE / ".venv/bin/python")))
    environment = installer.uv_environment(options, os.environ)
    for command in (
        (uv, "venv", "-q", "--clear", "--python", sys.executable, str(folder)),
        (uv, "pip", "install", "-q", "--python", str(folder), "--require-hashes",
         "-r", str(HERE / AUDIT_LOCK)),
    ):  # fmt: skip
        try:
            done = subprocess.run(
                command, env=environment, capture_output=True, text=True, timeout=SECONDS
            )
        except (OSError, subprocess.TimeoutExpired) as error:
            raise NoVerdictError(f"pip-audit cannot be installed: {error}") from None
        if done.returncode:
            raise NoVerdictError(f"pip-audit cannot be installed: {last_words(done.stderr)}")
    return folder / "bin/pip-audit"


def main(locks: Sequence[str]) -> int:
    """Ask about each lock; the exit code says what came of it."""
    code = 0
    try:
        program = auditor(HERE / "build/audit")
        for name in locks or LOCKS:
            found = audit(HERE / name, program)
            print(f"{name}: {found.asked} packages looked up, {len(found.faults)} known faults")
            print(*(f"  {line}" for line in found.faults), sep="\n")
            code = 1 if found.faults else code
    except NoVerdictError as error:
        print("!" * 78, "ADVISORIES COULD NOT BE HAD: THE PACKAGES ARE NOT CHECKED", error,
              "!" * 78, sep="\n")  # fmt: skip
        return code or NOT_CHECKED
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
