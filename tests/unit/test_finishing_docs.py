"""The worked examples of docs/finishing.md: every command is run, every sum is done."""

from __future__ import annotations

import ast
import json
import re
import shlex
from pathlib import Path

import pytest

from mustwright.cli.main import run

TEXT = (Path(__file__).parents[2] / "docs" / "finishing.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```example\n(.+?)```", TEXT, re.DOTALL)
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
        name, _, printed = line.partition(" = ")
        if isinstance(answer[name], float):
            assert answer[name] == pytest.approx(float(printed), abs=half_digit(printed) * 1.001), (
                line
            )
        else:
            assert str(answer[name]) == printed


@pytest.mark.parametrize("line", SUMS)
def test_sum_by_hand(line):
    """One sum; the last digit may be off by one, as inputs are rounded on the way."""
    expression, _, printed = line.rpartition(" = ")
    tree = ast.parse(expression, mode="eval")
    assert all(isinstance(node, ALLOWED) for node in ast.walk(tree)), expression
    value = eval(compile(tree, "docs", "eval"), {"__builtins__": {}})
    assert value == pytest.approx(float(printed), abs=2.2 * half_digit(printed))
