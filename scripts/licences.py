"""Writes docs/licences.md: under which licence each package of requirements.lock comes.

``python scripts/licences.py`` writes the page from the metadata that the packages themselves carry,
as they are installed; ``--check`` only says whether it is as it should be. A package that is not
installed here (of another system) keeps the line that it has.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence
from importlib import metadata
from pathlib import Path

HERE = Path(__file__).resolve().parent.parent
LOCK, PAGE = HERE / "requirements.lock", HERE / "docs/licences.md"
PINNED = re.compile(r"([A-Za-z0-9._-]+)==([^\s;\\]+)")
ROW = re.compile(r"\| ([^|]+) \| ([^|]+) \| ([^|]+) \|")
CLASSIFIER = "License :: OSI Approved :: "
# Short texts that stand in metadata instead of an expression.
PLAIN = {"MIT License": "MIT", "PSFL": "PSF-2.0", "BSD": "BSD (which of them is not said)"}
HEAD = """# Licences of what Mustwright needs to run

Made by `python scripts/licences.py` from the metadata of the packages in `requirements.lock`;
a test holds the two together. Each package brings its own licence text where it is installed.
Nothing of them is in this repository.

| package | release | licence, as its metadata says |
|---|---|---|
"""


def pinned(lock: str) -> dict[str, list[str]]:
    """Releases of a lock by package; some have one for each Python."""
    found: dict[str, list[str]] = {}
    for line in lock.splitlines():
        if match := PINNED.match(line):
            found.setdefault(match[1], []).append(match[2])
    return found


def licence_of(name: str) -> str | None:
    """What the metadata of an installed package says; None where it is not installed."""
    try:
        told = metadata.metadata(name)
    except metadata.PackageNotFoundError:
        return None
    if expression := told.get("License-Expression"):
        return str(expression)
    short = str(told.get("License") or "").strip()
    listed = told.get_all("Classifier") or []
    classes = [c.removeprefix(CLASSIFIER) for c in listed if c.startswith(CLASSIFIER)]
    if len(classes) < 2 and short and "\n" not in short and len(short) <= 40 and short != "BSD":
        return PLAIN.get(short, short)
    return " and ".join(classes) or PLAIN.get(short, "not said in its metadata")


def rows_of(page: str) -> dict[str, tuple[str, str]]:
    """Release and licence by package, as a page has them."""
    rows = (ROW.fullmatch(line) for line in page.splitlines())
    return {m[1]: (m[2], m[3]) for m in rows if m and m[1] not in ("package",)}


def page_for(lock: str, before: str) -> str:
    """The page as it should be."""
    kept = rows_of(before)
    lines = []
    for name, releases in sorted(pinned(lock).items()):
        licence = licence_of(name) or kept.get(name, ("", "not installed where this was made"))[1]
        lines.append(f"| {name} | {', '.join(sorted(releases))} | {licence} |\n")
    return HEAD + "".join(lines)


def main(arguments: Sequence[str]) -> int:
    """Write the page, or say whether it is as it should be."""
    before = PAGE.read_text(encoding="utf-8") if PAGE.exists() else ""
    wanted = page_for(LOCK.read_text(encoding="utf-8"), before)
    if list(arguments) == ["--check"]:
        if before != wanted:
            print("docs/licences.md is not as the packages say: run python scripts/licences.py")
        return int(before != wanted)
    PAGE.write_text(wanted, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
