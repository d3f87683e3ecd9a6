"""Known faults of packages: what counts as looked up, as faulty, and as not checked."""

from __future__ import annotations

import importlib.util
import json
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FAULT = {"id": "A-1", "fix_versions": ["2.0"], "aliases": [], "description": ""}


@pytest.fixture
def advisories(monkeypatch):
    monkeypatch.syspath_prepend(ROOT / "scripts")
    path = ROOT / "scripts/advisories.py"
    spec = importlib.util.spec_from_file_location("advisories_under_test", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(sys.modules, spec.name, module)
    spec.loader.exec_module(module)
    return module


def answer(*packages):
    return json.dumps({"dependencies": list(packages), "fixes": []})


def package(name, *vulns):
    return {"name": name, "version": "1.0", "vulns": list(vulns)}


def test_all_looked_up_and_nothing_known_is_a_pass(advisories):
    found = advisories.verdict_from(answer(package("a"), package("b")), 2)
    assert (found.asked, found.faults) == (2, ())


def test_a_known_fault_is_said_with_the_release_that_mends_it(advisories):
    found = advisories.verdict_from(answer(package("a", FAULT), package("b")), 2)
    assert found.faults == ("a 1.0: A-1, mended in 2.0",)


@pytest.mark.parametrize(
    "said",
    [
        "",
        "no json",
        "{}",
        answer(package("a")),
        answer(package("a"), {"name": "b", "skip_reason": "not found"}),
    ],
)
def test_an_answer_about_fewer_packages_is_none(advisories, said):
    with pytest.raises(advisories.NoVerdictError):
        advisories.verdict_from(said, 2)


def test_a_fault_is_said_although_others_were_not_looked_up(advisories):
    said = answer(package("a", FAULT), {"name": "b", "skip_reason": "not found"})
    assert len(advisories.verdict_from(said, 2).faults) == 1


def program(tmp_path, words):
    made = tmp_path / "program"
    made.write_text(f"#!/bin/sh\n{words}\n")
    made.chmod(0o755)
    return made


def main_with(advisories, monkeypatch, made):
    monkeypatch.setattr(advisories, "auditor", lambda _folder: made)
    return advisories.main([])


def test_no_answer_is_said_aloud_and_is_neither_pass_nor_failure(
    advisories, monkeypatch, tmp_path, capsys
):
    made = program(tmp_path, "echo cannot reach it >&2; exit 1")
    assert main_with(advisories, monkeypatch, made) == advisories.NOT_CHECKED
    shown = capsys.readouterr().out
    assert "NOT CHECKED" in shown
    assert "cannot reach it" in shown


def test_every_package_of_the_lock_that_is_wanted_here_is_asked_for(
    advisories, monkeypatch, tmp_path, capsys
):
    count = advisories.wanted_here(ROOT / "requirements.lock")
    assert count > 30
    whole = tmp_path / "answer"
    whole.write_text(answer(*(package(f"p{i}") for i in range(count))))
    assert main_with(advisories, monkeypatch, program(tmp_path, f"cat {whole}")) == 0
    assert f"{count} packages looked up, 0 known faults" in capsys.readouterr().out
    whole.write_text(answer(*(package(f"p{i}", FAULT) for i in range(count))))
    assert main_with(advisories, monkeypatch, program(tmp_path, f"cat {whole}; exit 1")) == 1


def test_an_auditor_that_cannot_be_installed_is_no_pass(advisories, monkeypatch, tmp_path, capsys):
    monkeypatch.setattr(advisories, "HERE", tmp_path)
    monkeypatch.setattr(advisories.installer, "pip_options", lambda _pip: {})
    assert advisories.main([]) == advisories.NOT_CHECKED
    assert "cannot be installed" in capsys.readouterr().out
