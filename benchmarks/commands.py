"""What does a command cost, from its start to its last line: processor time, each a whole process.

``python benchmarks/commands.py`` runs each command some times and prints the least processor time
it took, in seconds and as a multiple of a bare start of Python done in between: machines and their
load differ, the ratio hardly does.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

SHEET = Path(__file__).resolve().parents[1] / "examples" / "measured_must.toml"
COMMANDS = {
    "plan": ("plan", str(SHEET)),
    "plan without forecast": ("plan", str(SHEET), "--no-forecast"),
    "plan, tailored": ("plan", str(SHEET), "--tailor"),
    "compare": ("compare", str(SHEET)),
    "acidity": ("acidity", str(SHEET)),
    "convert": ("convert", "1.100", "--to", "Bx"),
}


def spent_s(*arguments: str) -> float:
    """Processor seconds of one process."""

    def children() -> float:
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        return used.ru_utime + used.ru_stime

    before = children()
    subprocess.run([sys.executable, *arguments], check=True, capture_output=True, timeout=600)
    return children() - before


def main() -> int:
    """Run, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=5)
    rounds = parser.parse_args().rounds
    with tempfile.TemporaryDirectory(prefix="mustwright-commands-") as home:
        os.environ["MUSTWRIGHT_HOME"] = home
        spent_s("-m", "mustwright", *COMMANDS["plan"])  # compiles the model
        best = dict.fromkeys(["bare", *COMMANDS], float("inf"))
        for _ in range(rounds):
            best["bare"] = min(best["bare"], spent_s("-c", "import numpy"))
            for name, typed in COMMANDS.items():
                best[name] = min(best[name], spent_s("-m", "mustwright", *typed))
    bare = best.pop("bare")
    found = {
        name: {"seconds": round(s, 2), "of a bare start": round(s / bare, 1)}
        for name, s in best.items()
    }
    print(json.dumps(found, indent=2))
    return 0


if __name__ == "__main__":
    sys.exit(main())
