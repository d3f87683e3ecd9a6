"""`house show` and `forget`, and forecasts with and without the house."""

from __future__ import annotations

import json

import pytest

from batch_pages import Cellar
from batches import CLOVER
from closed import SLOW, closed_batch
from mustwright.cli import main as cli
from mustwright.compose import Compose
from mustwright.learning import finished


@pytest.fixture
def ask(capsys, tmp_path, monkeypatch):
    monkeypatch.setenv("MUSTWRIGHT_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("MUSTWRIGHT_DATABASE", raising=False)
    real = finished.summary_of
    monkeypatch.setattr(finished, "summary_of", lambda *a: real(*a, members=400))

    def run(*typed: str, code: int = 0):
        assert cli.run(list(typed)) == code
        out, err = capsys.readouterr()
        if code:
            return err
        return json.loads(out) if "--json" in typed else out

    return run


@pytest.fixture
def sheet(tmp_path):
    path = tmp_path / "must.toml"
    path.write_text(CLOVER, encoding="utf-8")
    return str(path)


def bottle(name="Slow one"):
    compose = Compose.from_environment()
    closed_batch(Cellar(compose), name, SLOW)
    compose.close()


def test_show_before_anything_was_finished(ask):
    said = ask("house", "show", "--json")
    assert (said["batches"], said["share"], said["effects"]) == ([], {}, [])
    assert "Nothing learned yet" in ask("house", "show")


@pytest.mark.thorough
def test_forecast_with_and_without(ask, sheet):
    typed = ("forecast", sheet, "--members", "64", "--no-ph", "--json")
    plain = ask(*typed)
    assert ask(*typed, "--no-house") == plain
    bottle()
    assert ask(*typed, "--no-house") == plain
    mine = ask(*typed)
    assert mine["gravity"] != plain["gravity"]
    assert "finished batches" in mine["house"]
    assert "--no-house leaves them out" in ask("forecast", sheet, "--members", "64", "--no-ph")
    said = ask("house", "show", "--json")
    assert [b["batch"] for b in said["batches"]] == ["slow-one"]
    assert {"name", "mean", "sd", "unit_meaning"} <= set(said["effects"][0])
    assert ask("house", "forget", "slow-one", "--json") == {"forgotten": ["slow-one"]}
    assert ask(*typed) == plain
    assert ask("house", "forget", "--all", "--undo", "--json") == {"remembered": ["slow-one"]}
    assert ask(*typed) == mine


def test_plan_and_compare_start_from_it_too(ask, sheet):
    bottle()
    for command in ("plan", "compare"):
        typed = (command, sheet, "--protocol", "halves_at_onset_and_third", "--forecast", "--json")
        assert ask(*typed) != ask(*typed, "--no-house")


def test_forget_wants_to_know_what(ask):
    assert "BATCH: needs the name of one batch, or --all" in ask("house", "forget", code=2)
    assert "no batch named 'nobody'" in ask("house", "forget", "nobody", code=2)
