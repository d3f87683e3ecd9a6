"""How far is each source of reference values missed: the worst deviation, said in the summary.

Hooks of pytest, for every test run: `conftest.py` takes them in. The tests of a run may be shared
out to several processes, whose findings come together here.
"""

from __future__ import annotations

from typing import Any

import pytest

# By values file: the deviation, in half units of the last digit, and where.
WORST = pytest.StashKey[dict[str, tuple[float, float, str]]]()
OUTPUT = "worst deviations"


def pytest_configure(config: pytest.Config) -> None:
    """Nothing is off yet."""
    config.addinivalue_line("markers", "rows(file, *quantities): rows of a reference values file")
    config.stash[WORST] = {}


def pytest_sessionfinish(session: pytest.Session) -> None:
    """A worker hands what it found to the process that sums up."""
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput[OUTPUT] = session.config.stash[WORST]


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """Of each file keep the worst that any worker found."""
    worst = node.config.stash[WORST]
    for file, found in getattr(node, "workeroutput", {}).get(OUTPUT, {}).items():
        if file not in worst or found[1] > worst[file][1]:
            worst[file] = found


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """A line for each file."""
    worst = terminalreporter.config.stash[WORST]
    if not worst or terminalreporter.config.get_verbosity() < 0:
        return
    terminalreporter.section("worst deviation from each source, in half units of its last digit")
    for file, (deviation, ratio, where) in sorted(worst.items()):
        terminalreporter.write_line(f"{file:34} {ratio:8.2f}  {deviation:.2g} at {where}")
