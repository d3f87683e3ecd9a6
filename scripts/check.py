"""Does everything hold: each check as a named step; stops at the first that fails.

Run by check with the Python of .venv; CI runs the same.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import browser
import postgres
from advisories import NOT_CHECKED

HERE = Path(__file__).resolve().parent.parent
BIN = Path(sys.executable).parent
LOGS = HERE / "build" / "check"
COMPILE = "from mustwright.kinetics.ready import warm_up; warm_up()"
PROCESSES = ("-n", "auto", "--maxprocesses", "8", "--dist", "worksteal")
# The processes have every core already. Servers and commands keep their threads in the other tests.
ONE_THREAD = (("NUMBA_NUM_THREADS", "1"),)
KEEP_COMPILED = {"PYTHONDONTWRITEBYTECODE": ""}  # the next run reads what this one compiled
CASES = "MUSTWRIGHT_CASES"  # tests/cases.py
DRAWN = {"fast": "0.1", "all": "0.2", "long": "4"}
FUZZ = (("MUSTWRIGHT_FUZZ", "1"),)  # tests/integration/test_fuzz.py


@dataclass(frozen=True)
class Step:
    """One named check."""

    name: str
    command: tuple[str, ...]
    is_pytest: bool = False
    environment: tuple[tuple[str, str], ...] = ()


def steps(mode: str) -> list[list[Step]]:
    """The checks of one mode, those in one list to be run at the same time.

    ``fast`` is for between two edits: no process or browser is started, and few cases are drawn;
    ``all`` draws a fifth; ``full`` draws all, asks every page on both screens, and also sets
    the project up from nothing; ``long`` draws four times the cases, adds
    thousands of odd requests and texts, and asks for known faults of the packages.
    """
    still = [
        Step("ruff check", ("ruff", "check")),
        Step("ruff format", ("ruff", "format", "--check")),
        Step("mypy", ("mypy",)),
        Step("lint-imports", ("lint-imports",)),
        Step("kernel", ("python", "-c", COMPILE)),  # once, not in each process of the tests
    ]
    outside = ("--ignore=tests/integration", "--ignore=tests/e2e")
    brief = ("-m", "not fresh and not thorough") if mode == "fast" else ()
    unit = _pytest("unit, reference, doctests", *outside, *brief)
    chosen = [still, [replace(unit, environment=ONE_THREAD)]]
    if mode != "fast":
        fresh = ("-m", "fresh or not fresh") if mode in ("full", "long") else ()
        chosen.append([_pytest("integration", "tests/integration", *fresh)])
        chosen.append([_pytest("e2e", "tests/e2e")])
    if mode == "long":
        fuzz = Step("fuzz", ("pytest", "-s", "tests/integration/test_fuzz.py"), True, FUZZ)
        advisories = Step("advisories", ("python", "scripts/advisories.py"))
        chosen += [[fuzz], [advisories]]
    return chosen


def _pytest(name: str, *arguments: str) -> Step:
    return Step(name, ("pytest", *PROCESSES, *arguments), is_pytest=True)


def run(step: Step, log: Path, show: bool) -> int:
    """Run one step, its output kept, and shown as it comes where asked for; the exit code."""
    command = [str(BIN / step.command[0]), *step.command[1:]]
    with subprocess.Popen(
        command,
        cwd=HERE,
        env=os.environ | KEEP_COMPILED | dict(step.environment),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    ) as p:
        assert p.stdout is not None
        with log.open("wb") as kept:
            for line in p.stdout:
                kept.write(line)
                if show:
                    sys.stdout.buffer.write(line)
                    sys.stdout.flush()
    return p.returncode


def last_line(log: Path) -> str:
    """The line a test run closes with."""
    lines = log.read_text(encoding="utf-8", errors="replace").split("\n")
    return next((line for line in reversed(lines) if line.strip()), "")


@contextmanager
def database() -> Iterator[None]:
    """A PostgreSQL for the tests that want one; a loud line where there is none."""
    if os.environ.get(postgres.VARIABLE):
        yield
        return
    with postgres.server() as address:
        if address is None:
            print("!" * 78, "NO POSTGRESQL: ITS TESTS ARE SKIPPED, NOT PASSED", "!" * 78, sep="\n")
        else:
            os.environ[postgres.VARIABLE] = address
        yield
        os.environ.pop(postgres.VARIABLE, None)


def run_all(chosen: list[list[Step]], summary: list[str]) -> int:
    """Run steps until one fails; a line of the summary for each."""
    code = 0
    for together in chosen:
        print(f"\n== {' and '.join(step.name for step in together)}", flush=True)
        with ThreadPoolExecutor(len(together)) as runners:
            tasks = [runners.submit(run_one, step, len(together) == 1) for step in together]
        for step, task in zip(together, tasks, strict=True):
            failed, line = task.result()
            if len(together) > 1:
                print(f"\n-- {step.name}\n{log_of(step).read_text('utf-8', 'replace')}", flush=True)
            summary.append(line)
            code = code or failed
        if code:
            break
    return code


def run_one(step: Step, show: bool) -> tuple[int, str]:
    """Run a step; its exit code, and its line of the summary."""
    log, began = log_of(step), time.time()
    code = run(step, log, show)
    closing = last_line(log) if step.is_pytest else ""
    verdict = f"FAILED ({code})" if code else "ok"
    if code == NOT_CHECKED:  # no failure, and no pass either
        code, verdict = 0, "NOT CHECKED"
    line = f"{step.name:28}{time.time() - began:7.1f} s  {verdict:11} {closing}"
    return code, line.rstrip()


def log_of(step: Step) -> Path:
    """Where the output of a step is kept."""
    return LOGS / f"{step.name.split(',')[0].replace(' ', '-')}.log"


def main(arguments: list[str]) -> int:
    """Run the steps of the mode asked for; print what each took; 0 when all held."""
    modes = ("all", "fast", "full", "long")
    mode = arguments[0] if arguments else ("full" if os.environ.get("CI") == "true" else "all")
    if mode not in modes or len(arguments) > 1:
        print(f"check: needs nothing or one of {', '.join(modes)}, got {' '.join(arguments)}")
        return 2
    LOGS.mkdir(parents=True, exist_ok=True)
    os.environ.setdefault("OMP_NUM_THREADS", "1")  # the tests have every core already
    if mode in DRAWN:
        os.environ.setdefault(CASES, DRAWN[mode])
    if mode != "fast":
        os.environ["CHROMIUM"] = browser.ensure()
    summary: list[str] = []
    with database():
        code = run_all(steps(mode), summary)
    open_ones = [line.split("  ")[0] for line in summary if "NOT CHECKED" in line]
    held = (
        f"all others held; NOT CHECKED: {', '.join(open_ones)}" if open_ones else "all checks held"
    )
    print("\n== summary", *summary, "CHECKS FAILED" if code else held, sep="\n")
    if not code and (tests := [s for s in summary if "passed" in s]):
        print(tests[-1].split("ok", 1)[1].strip())
    return 1 if code else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
