"""Which Chromium do the browser tests use; installs Debian's where that is possible."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

# The shell without windows first: a page of it costs a third of the processor.
NAMES = (
    "chromium-headless-shell",
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
)
PACKAGES = ("chromium-headless-shell", "fonts-dejavu", "poppler-utils")


def find() -> str | None:
    """The browser named by CHROMIUM, else the first one on PATH."""
    named = os.environ.get("CHROMIUM", "")
    candidates = (named, *NAMES) if named else NAMES
    return next((path for path in map(shutil.which, candidates) if path), None)


def ensure() -> str:
    """The path of a Chromium, installing the distribution's packages if there is none."""
    if found := find():
        return found
    prefix = _privilege()
    if prefix is None or not shutil.which("apt-get"):
        sys.exit(
            "check: the browser tests need Chromium: install it (Debian: apt install"
            f" {' '.join(PACKAGES)}), or name it in CHROMIUM, or run './check fast'"
        )
    environment = os.environ | {"DEBIAN_FRONTEND": "noninteractive"}
    for command in (["update"], ["install", "-y", "--no-install-recommends", *PACKAGES]):
        print(f"== apt-get {' '.join(command)}", flush=True)
        subprocess.run([*prefix, "apt-get", "-q", *command], env=environment, check=True)
    if not (found := find()):
        sys.exit("check: apt-get installed its packages but no Chromium is on PATH")
    return found


def _privilege() -> list[str] | None:
    """What to put before apt-get: nothing as root, sudo where it asks for no password."""
    if os.geteuid() == 0:
        return []
    if shutil.which("sudo") and subprocess.run(["sudo", "-n", "true"]).returncode == 0:
        return ["sudo", "-n"]
    return None
