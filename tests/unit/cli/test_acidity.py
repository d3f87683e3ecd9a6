"""The `acidity` command: text, JSON, and errors in one line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from mustwright.cli import main as cli

EXAMPLE = str(Path(__file__).parents[3] / "examples" / "traditional_1100.toml")
QUICK = ("acidity", EXAMPLE, "--members", "80", "--protocol", "everything_at_pitch")


def test_json_has_what_the_maker_needs(capsys):
    assert cli.run([*QUICK, "--ph", "3.8", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["start"]["measured"] is True
    for key in ("trough", "dose", "potassium", "cautions", "refusals", "measuring", "path"):
        assert data[key], key
    assert set(data["dose"]) >= {"salt", "grams", "when", "g_per_l", "chance_kept"}
    assert "working" not in data


def test_explain_adds_the_working(capsys):
    assert cli.run([*QUICK, "--explain", "--json"]) == 0
    assert "dose.g_per_l" in json.loads(capsys.readouterr().out)["working"]


def test_the_text_warns_of_carbonate_up_front(capsys):
    assert cli.run([*QUICK, "--ph", "3.8"]) == 0
    out = capsys.readouterr().out
    assert "a honey must has little" in out
    assert "15 %" in out
    assert "Crash risk" in out
    assert "measured 3.8" in out


def test_no_feeds(capsys):
    assert cli.run(["acidity", EXAMPLE, "--members", "80", "--protocol", "none"]) == 0
    assert "no feeds" in capsys.readouterr().out


def test_acid_in_grams_or_milliequivalents_is_the_same(capsys):
    shown = []
    for typed in ("4 g/L", "53.3 meq/L", "4"):
        assert cli.run([*QUICK, "--ta", typed, "--json"]) == 0
        shown.append(json.loads(capsys.readouterr().out)["titratable_acid_g_l"])
    assert shown[1] == pytest.approx(shown[0], rel=0.01)
    assert shown[2] == shown[0]


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        (["--ph", "14"], "--ph"),
        (["--ta", "4 kg"], "--ta"),
        (["--salt", "moon dust"], "--salt"),
        (["--bench", "much"], "--bench"),
        (["--floor", "7"], "--floor"),
        (["--members", "1"], "--members"),
    ],
)
def test_errors_follow_the_contract(typed, field, capsys):
    assert cli.run([*QUICK, *typed, "--json"]) == 2
    out, err = capsys.readouterr()
    assert json.loads(out)["error"]["field"] == field
    assert err.count("\n") == 1
