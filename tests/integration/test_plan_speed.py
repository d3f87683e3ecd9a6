"""Does a plan with its ranking answer at once: processor time, whatever else the machine does."""

from __future__ import annotations

import resource
import subprocess
from pathlib import Path

from serving import COMMAND

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
MOST_S = 3.0


def spent_s(*arguments: str) -> float:
    """Processor seconds of one command."""

    def children() -> float:
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        return used.ru_utime + used.ru_stime

    before = children()
    shown = subprocess.run([*COMMAND, *arguments], capture_output=True, text=True, timeout=300)
    assert shown.returncode == 0, shown.stderr
    assert "Recommended for" in shown.stdout
    return children() - before


def test_a_plan_with_its_ranking_takes_under_three_seconds():
    sheet = str(EXAMPLES / "measured_must.toml")
    spent_s("plan", sheet)  # may compile the model
    assert min(spent_s("plan", sheet) for _ in range(4)) < MOST_S
