"""A dry batch finished from the command line: its numbers in, what was done written."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest

from mustwright.cli.main import run

SHEET = """
[must]
volume = "19 L"
[measured]
gravity = "1.098"
[shelf]
dap = {}
"""


def ago(hours: float) -> str:
    return (datetime.now(UTC) - timedelta(hours=hours)).isoformat()


def command(capsys, *words: str) -> str:
    assert run([str(w) for w in words]) == 0
    return capsys.readouterr().out


@pytest.fixture
def dry(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("MUSTWRIGHT_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("TZ", "UTC")
    sheet = tmp_path / "lane.toml"
    sheet.write_text(SHEET)
    command(capsys, "batch", "start", sheet, "--pitched", ago(24 * 60))
    for days, gravity in ((58, "1.094"), (50, "1.04"), (40, "1.005"), (29, "0.991"), (22, "0.991"),
                          (15, "0.991"), (1, "0.991")):  # fmt: skip
        command(capsys, "batch", "read", "lane", gravity, "--ph", "3.5", "--temperature", "20 C",
                "--at", ago(24 * days))  # fmt: skip
    return capsys


def data(capsys, *words: str) -> dict:
    return json.loads(command(capsys, "finish", *words, "--batch", "lane", "--json"))


def test_a_step_starts_from_the_batch_and_is_recorded(dry):
    first = data(dry, "sulfite")
    assert first["started_from"]["volume"] == "19 L"
    assert first["started_from"]["ph"] == "3.5"
    assert first["weigh_g"] > 0
    assert "entry" not in first
    done = data(dry, "sulfite", "--record", "--used", "0.8 g", "--note", "crushed")
    content = done["entry"]["content"]
    assert content["added"][0]["grams"] == pytest.approx(0.8)
    assert content["note"] == "crushed"
    after = data(dry, "sulfite", "--free", "20 mg/L")
    total = float(after["started_from"]["total"].removesuffix(" mg/L"))
    assert total == pytest.approx(1000 * 0.8 * 0.5763 / 19, rel=1e-3)
    assert after["doubts"]
    out = command(dry, "finish", "rack", "--batch", "lane", "--record", "--used", "came_over=18 L")
    assert out.startswith("From lane: ")
    assert "Written (" in out
    assert "18.00 L after" in command(dry, "batch", "show", "lane")
    entry = done["entry"]["id"]
    command(dry, "batch", "correct", "lane", entry, "--set", "used.1=0.4 g")
    assert data(dry, "sorbate")["started_from"]["volume"] == "18 L"
    command(dry, "batch", "correct", "lane", entry, "--remove")
    assert "total" not in data(dry, "sulfite")["started_from"]
    command(dry, "batch", "undo", "lane")


def test_blend_and_bottle_know_the_batch(dry):
    lots = ("--lot", "batch=lane", "--lot", "name=water, volume=5 L, alcohol=0 %, gravity=1")
    blend = data(dry, "blend", *lots, "--target", "alcohol=13 %", "--volume", "15 L", "--record")
    assert blend["entry"]["content"]["added"][0]["litres"] > 1
    assert run(["finish", "bottle", "--batch", "lane", "--size", "750 mL", "--record"]) == 2
    assert "needs a steady gravity" in dry.readouterr().err  # blended this minute
    looked = command(dry, "finish", "bottle", "--batch", "lane", "--size", "750 mL")
    assert "! Do not do this yet: it needs a steady gravity" in looked
    stated = ("--stabilised", "pasteurised", "--record")
    bottled = data(dry, "bottle", "--size", "750 mL", *stated)
    assert bottled["lot_code"].endswith("-LANE")
    assert command(dry, "batch", "next", "lane").startswith("This batch is closed.")
    told = command(dry, "batch", "lot", bottled["lot_code"].lower())
    assert told.startswith(f"{bottled['lot_code']}: lane (lane), bottled ")
    assert "of water" in told
    found = json.loads(command(dry, "batch", "lot", bottled["lot_code"], "--json"))["lots"]
    assert [(lot["slug"], lot["differs"]) for lot in found] == [("lane", False)]
    assert run(["batch", "lot", "L99001-NOBODY"]) == 2
    assert "L99001-NOBODY" in dry.readouterr().err


def test_what_was_really_used_is_asked_about_once_and_written(dry, monkeypatch):
    words = ["finish", "sulfite", "--batch", "lane", "--record", "--used", "200 g"]
    assert run(words) == 2
    assert "add --yes" in dry.readouterr().err
    wrote = data(dry, "sulfite", "--record", "--used", "200 g", "--yes")
    assert wrote["entry"]["content"]["added"][0]["grams"] == 200
    command(dry, "batch", "undo", "lane")
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    for said, code in (("n", 2), ("y", 0)):
        monkeypatch.setattr("click.prompt", lambda *_, said=said, **__: said)
        assert run(words) == code
    assert "200 g of potassium metabisulfite" in command(dry, "batch", "show", "lane")


@pytest.mark.parametrize(
    ("words", "field"),
    [
        (["sulfite", "--record"], "--batch"),
        (["sulfite", "--batch", "nobody"], "nobody"),
        (["sulfite", "--batch", "lane", "--used", "1 g"], "--record"),
        (["sulfite", "--batch", "lane", "--record", "--used", "much"], "grams.1"),
        (["sulfite", "--batch", "lane", "--record", "--used", "litres=1 L"], "--used"),
        (["stable", "--batch", "lane", "--record", "--used", "1 g"], "--used"),
        (["sweeten", "--batch", "lane", "--to", "1.010", "--record"], "stabilised"),
        (["sulfite", "--batch", "lane", "--record", "--at", "2099-01-01 10:00"], "at"),
    ],
)
def test_what_cannot_be_recorded_is_said_and_nothing_written(dry, words, field):
    before = command(dry, "batch", "export", "lane")
    assert run(["finish", *words]) == 2
    assert field in dry.readouterr().err
    assert command(dry, "batch", "export", "lane") == before
