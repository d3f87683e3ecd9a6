"""The check of everything: what each mode runs, and that a failure cannot pass."""

from __future__ import annotations

import importlib.util
import os
import sys
from pathlib import Path

import pytest

from cases import VARIABLE, cases, scaled, some_of

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def check(monkeypatch, tmp_path):
    """The module of the checks, its logs in a folder of its own."""
    monkeypatch.syspath_prepend(ROOT / "scripts")
    spec = importlib.util.spec_from_file_location("check_under_test", ROOT / "scripts/check.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(sys.modules, spec.name, module)
    spec.loader.exec_module(module)
    monkeypatch.setattr(module, "LOGS", tmp_path)
    return module


def words(check, mode):
    return [step.command for together in check.steps(mode) for step in together]


def test_every_mode_has_lint_types_import_rules_and_units(check):
    for mode in ("fast", "all", "full", "long"):
        names = [step.name for step in check.steps(mode)[0]]
        assert names[:4] == ["ruff check", "ruff format", "mypy", "lint-imports"]
        assert check.steps(mode)[1][0].name == "unit, reference, doctests"


def test_fast_leaves_out_processes_and_browser_and_nothing_else_does(check):
    def said(mode):
        return [word for command in words(check, mode) for word in command]

    assert "tests/integration" not in said("fast")
    assert "tests/e2e" not in said("fast")
    for mode in ("all", "full", "long"):
        assert "tests/integration" in said(mode)
        assert "tests/e2e" in said(mode)
    assert "fresh or not fresh" in said("full")
    assert "fresh or not fresh" in said("long")
    assert "fresh or not fresh" not in said("all")


def test_the_long_fuzz_and_the_advisories_are_of_the_long_mode_alone(check):
    def asked(mode):
        every = [step for together in check.steps(mode) for step in together]
        return [s.name for s in every if dict(s.environment).get("MUSTWRIGHT_FUZZ") == "1"
                or "scripts/advisories.py" in s.command]  # fmt: skip

    assert [asked(mode) for mode in ("fast", "all", "full")] == [[], [], []]
    assert asked("long") == ["fuzz", "advisories"]


def test_what_could_not_be_checked_is_said_and_is_no_pass(check, monkeypatch, tmp_path, capsys):
    monkeypatch.setenv(check.postgres.VARIABLE, "an address")
    monkeypatch.setattr(check.browser, "ensure", lambda: "a browser")
    monkeypatch.setattr(check, "BIN", tmp_path)
    program = tmp_path / "unknown"
    program.write_text(f"#!/bin/sh\nexit {check.NOT_CHECKED}\n")
    program.chmod(0o755)
    monkeypatch.setattr(check, "steps", lambda _: [[check.Step("advisories", ("unknown",))]])
    assert check.main(["long"]) == 0
    shown = capsys.readouterr().out
    assert "all others held; NOT CHECKED: advisories" in shown
    assert "all checks held" not in shown


@pytest.mark.parametrize(
    ("mode", "ci", "drawn", "parts"),
    [
        ("fast", None, "0.1", 2),
        ("all", None, "0.2", 4),
        ("full", None, None, 4),
        (None, "true", None, 4),
        ("long", None, "4", 6),
    ],
)
def test_fewer_cases_are_drawn_in_fast_and_all_and_more_in_long(
    check, monkeypatch, mode, ci, drawn, parts
):
    environment = {check.postgres.VARIABLE: "an address"} | ({"CI": ci} if ci else {})
    monkeypatch.setattr(os, "environ", environment)
    monkeypatch.setattr(check.browser, "ensure", lambda: "a browser")
    seen = []

    def run_all(chosen, summary):
        seen.append((environment.get(VARIABLE), len(chosen)))
        summary.append("unit ok 3 passed in 1 s")
        return 0

    monkeypatch.setattr(check, "run_all", run_all)
    assert check.main([mode] if mode else []) == 0
    assert seen == [(drawn, parts)]


def test_a_mode_it_does_not_know_is_refused(check, capsys):
    assert check.main(["quick"]) == 2
    assert "all, fast, full, long" in capsys.readouterr().out


def fake(monkeypatch, check, tmp_path):
    """Programs that only say something and end with a code."""
    monkeypatch.setattr(check, "BIN", tmp_path)
    for name, code in (("good", 0), ("bad", 3)):
        program = tmp_path / name
        program.write_text(f"#!/bin/sh\necho said by {name}\nexit {code}\n")
        program.chmod(0o755)


def test_a_failure_ends_the_run_after_those_beside_it(check, monkeypatch, tmp_path, capfd):
    fake(monkeypatch, check, tmp_path)
    step = check.Step
    chosen = [
        [step("one", ("good",)), step("two", ("bad",)), step("three", ("good",))],
        [step("four", ("good",))],
    ]
    summary: list[str] = []
    assert check.run_all(chosen, summary) == 3
    assert [line.split()[0] for line in summary] == ["one", "two", "three"]
    assert "FAILED (3)" in summary[1]
    shown = capfd.readouterr().out
    assert "said by bad" in shown
    assert "four" not in shown


def test_all_well_is_nought(check, monkeypatch, tmp_path):
    fake(monkeypatch, check, tmp_path)
    summary: list[str] = []
    assert check.run_all([[check.Step("one", ("good",), is_pytest=True)]], summary) == 0
    assert summary[0].endswith("said by good")


def test_cases_are_scaled_and_never_too_few(monkeypatch):
    monkeypatch.delenv(VARIABLE, raising=False)
    assert (scaled(400), scaled(40), scaled(3)) == (400, 40, 3)
    monkeypatch.setenv(VARIABLE, "0.1")
    assert (scaled(400), scaled(40), scaled(3)) == (40, 4, 3)
    monkeypatch.setenv(VARIABLE, "10")
    assert cases(40).max_examples == 400


def test_of_named_cases_some_are_run_between_two_edits_and_all_else(monkeypatch):
    named = list("abcdefgh")
    monkeypatch.delenv(VARIABLE, raising=False)
    assert some_of(named, 2) == named
    monkeypatch.setenv(VARIABLE, "0.1")
    assert some_of(named, 2) == ["a", "e"]
    assert some_of(named) == ["a"]
    assert some_of(named, 9) == named
    monkeypatch.setenv(VARIABLE, "0.2")
    assert some_of(named, 2) == named


def test_how_many_cases_are_drawn_is_said_by_cases_alone():
    """A number written past it would be drawn in full between two edits."""
    own = {"cases.py", "test_schema.py", Path(__file__).name}  # test_schema shares them out
    tests = (path for path in (ROOT / "tests").rglob("*.py") if path.name not in own)
    assert [path.name for path in tests if "max_examples" in path.read_text("utf-8")] == []
