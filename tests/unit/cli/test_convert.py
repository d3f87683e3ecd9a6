"""The `convert` command: what it prints, and values that begin with a minus."""

import json

import pytest
from click.testing import CliRunner

from mustwright.cli.convert import command
from mustwright.errors import InputError


def run(*arguments: str):
    return CliRunner().invoke(command, arguments)


def test_one_line():
    result = run("24 Bx", "--to", "SG")
    assert (result.exit_code, result.stdout) == (0, "1.1010 SG\n")


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        (["-1.2 Bx"], "0.9954 SG\n"),
        (["-1.2", "Bx"], "0.9954 SG\n"),
        (["-1.2 Oechsle"], "0.9988 SG\n"),
        (["1.098", "--at", "28C", "--calibrated", "60F"], "1.1014 SG\n"),
    ],
)
def test_values(typed, shown):
    result = run("--to", "SG", *typed)
    assert result.stdout == shown


def test_words_need_no_quotes():
    assert run("15", "lb", "4", "oz", "--to", "kg").stdout == "6.91728 kg\n"


def test_json_carries_the_working():
    result = run("12 Bx", "--to", "SG", "--instrument", "refractometer", "--original", "24Bx",
                 "--json")  # fmt: skip
    answer = json.loads(result.stdout)
    assert answer["unit"] == "SG"
    assert answer["low"] < answer["value"] < answer["high"]
    assert answer["working"]["value"]["source"]
    assert answer["working"]["value"]["inputs"]["reading at 20 C"]["value"] == 12.0
    assert answer["alternatives"]["alcohol"] > 10


def test_explain_unfolds_the_working():
    lines = run("24 Bx", "--to", "g/L sugar", "--explain").stdout.splitlines()
    assert lines[0] == "263.8 g/L sugar"
    assert lines[1].startswith("value = 263.7")
    assert any("ICUMSA1998" in line for line in lines)
    assert any("24 Brix" in line for line in lines)
    assert lines[-2].strip() == "how: as typed"


def test_what_was_assumed_goes_beside_the_answer():
    result = run("5 gal", "--to", "L")
    assert result.stdout == "18.9271 L\n"
    assert "US gallon" in result.stderr


def test_unknown_option_is_refused():
    assert run("5 L", "--to", "US gal", "--calibarted", "20C").exit_code == 2


def test_errors_are_left_to_the_shell():
    assert isinstance(run("5 L", "--to", "kg").exception, InputError)
