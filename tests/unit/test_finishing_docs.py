"""The worked examples of docs/finishing.md: every command is run, every sum is done."""

from __future__ import annotations

import ast
import json
import re
import shlex
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from mustwright.cli.main import run

TEXT = (Path(__file__).parents[2] / "docs" / "finishing.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```example\n(.+?)```", TEXT, re.DOTALL)
IN_A_BATCH = re.findall(r"```batch\n(.+?)```", TEXT, re.DOTALL)
BATCH_TEXT = (Path(__file__).parents[2] / "docs" / "batch.md").read_text(encoding="utf-8")
SHEET = '[must]\nvolume = "19 L"\n[measured]\ngravity = "1.098"\n[shelf]\ndap = {}\n'
READ = ((58, 1.094), (50, 1.04), (40, 1.005), (29, 0.991), (22, 0.991), (15, 0.991), (1, 0.991))
BY_HAND = re.findall(r"```hand\n(.+?)```", TEXT, re.DOTALL)
SUMS = [line for block in BY_HAND for line in block.splitlines()]
ALLOWED = (
    ast.Expression, ast.BinOp, ast.UnaryOp, ast.Constant, ast.Add, ast.Sub, ast.Mult, ast.Div,
    ast.Pow, ast.USub,
)  # fmt: skip


def half_digit(printed: str) -> float:
    return 0.5 * 10.0 ** -len(printed.partition(".")[2])


def test_there_are_examples():
    assert len(EXAMPLES) >= 14
    assert len(SUMS) >= 30


@pytest.mark.parametrize("block", EXAMPLES, ids=[" ".join(b.split()[2:5]) for b in EXAMPLES])
def test_example(block, capsys):
    """Each figure below a command, to half a unit of its last digit."""
    command, *lines = block.strip().splitlines()
    assert lines
    words = shlex.split(command)
    assert words[0] == "mustwright"
    assert run([*words[1:], "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    for line in lines:
        holds(answer, line)


def holds(answer: dict, line: str) -> None:
    """One printed figure is that of the answer; parts of a path are parted by dots."""
    path, _, printed = line.partition(" = ")
    found = answer
    for part in path.split("."):
        found = found[part]
    if isinstance(found, float):
        assert found == pytest.approx(float(printed), abs=half_digit(printed) * 1.001), line
    else:
        assert str(found) == printed, line


@pytest.fixture
def batch(tmp_path, monkeypatch, capsys):
    """A dry batch as the docs describe it, in a cellar of its own; runs commands and reads them."""
    monkeypatch.setenv("MUSTWRIGHT_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("TZ", "UTC")

    def answer(*words: object) -> dict:
        capsys.readouterr()
        flag = () if "export" in words else ("--json",)  # which is JSON by itself
        assert run([*(str(w) for w in words), *flag]) == 0, words
        return json.loads(capsys.readouterr().out)

    def follow(name: str) -> None:
        sheet = tmp_path / f"{name}.toml"
        sheet.write_text(SHEET)
        now = datetime.now(UTC)
        pitched = (now - timedelta(days=60)).isoformat()
        answer("batch", "start", sheet, "--pitched", pitched)
        for days, gravity in READ:
            at = (now - timedelta(days=days)).isoformat()
            answer("batch", "read", name, gravity, "--ph", 3.5, "--temperature", "20 C", "--at", at)

    return follow, answer


def test_the_steps_of_a_batch(batch):
    """The commands in their order, each with the figures below it."""
    follow, answer = batch
    follow("dry-lane")
    assert len(IN_A_BATCH) == 1
    found, figures, commands = {}, 0, 0
    for line in IN_A_BATCH[0].strip().splitlines():
        if line.startswith("mustwright "):
            found = answer(*shlex.split(line)[1:])
            commands += 1
        else:
            holds(found, line)
            figures += 1
    assert (commands, figures) == (6, 15)
    told = answer("batch", "export", "dry-lane")["log"]
    written = [e["content"]["step"] for e in told if e["kind"] == "finish"]
    assert written == ["rack", "sulfite", "sorbate", "sweeten", "bottle"]


def test_what_docs_say_of_taking_back(batch):
    """A corrected step, one taken out, and one taken back change what the next starts from."""
    follow, answer = batch
    follow("dry-lane")
    said = " ".join(TEXT.split())
    assert "correct dry-lane ID --set used.1='0.4 g'`, `--remove`, `mustwright batch undo" in said
    entry = answer("finish", "sulfite", "--batch", "dry-lane", "--record")["entry"]["id"]

    def total() -> str | None:
        return answer("finish", "sulfite", "--batch", "dry-lane")["started_from"].get("total")

    whole = total()
    answer("batch", "correct", "dry-lane", entry, "--set", "used.1=0.4 g")
    assert total() == "12.13 mg/L"
    answer("batch", "undo", "dry-lane")
    assert total() == whole
    answer("batch", "correct", "dry-lane", entry, "--remove")
    assert total() is None


@pytest.mark.thorough
def test_a_blend_of_two_batches_is_two_entries(batch):
    """Taking the one back takes the other back too, as the docs say."""
    assert "Taking the one back takes the other back too" in " ".join(TEXT.split())
    follow, answer = batch
    for name in ("dry-lane", "far-lane"):
        follow(name)
    mixed = answer(
        "finish", "blend", "--batch", "dry-lane", "--lot", "batch=dry-lane", "--lot",
        "batch=far-lane", "--target", "alcohol=14.5 %", "--volume", "20 L", "--record",
    )  # fmt: skip

    def volumes() -> list[str]:
        return [
            answer("finish", "rack", "--batch", name)["started_from"]["volume"]
            for name in ("dry-lane", "far-lane")
        ]

    assert float(volumes()[1].removesuffix(" L")) < 15
    answer("batch", "correct", "dry-lane", mixed["entry"]["id"], "--remove")
    assert volumes() == ["19 L", "19 L"]


def test_the_commands_of_the_batch_page(batch):
    """Those of docs/batch.md that finish a batch, on a batch of that name."""
    follow, answer = batch
    follow("heather")
    lines = re.findall(r"^mustwright (finish .+?)(?:\s{2,}#.*)?$", BATCH_TEXT, re.MULTILINE)
    assert len(lines) == 3
    for line in lines:
        answer(*shlex.split(line))
    assert answer("batch", "show", "heather")["state"]["phase"] == "bottled"


@pytest.mark.parametrize("line", SUMS)
def test_sum_by_hand(line):
    """One sum; the last digit may be off by one, as inputs are rounded on the way."""
    expression, _, printed = line.rpartition(" = ")
    tree = ast.parse(expression, mode="eval")
    assert all(isinstance(node, ALLOWED) for node in ast.walk(tree)), expression
    value = eval(compile(tree, "docs", "eval"), {"__builtins__": {}})
    assert value == pytest.approx(float(printed), abs=2.2 * half_digit(printed))
