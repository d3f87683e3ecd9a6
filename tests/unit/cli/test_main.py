"""The command line: errors become one line (and JSON), the overview loads no command."""

from __future__ import annotations

import importlib
import json
import warnings

import click
import pytest

from mustwright.cli import main as cli
from mustwright.errors import ConflictError, ImpossibleError, InputError


@pytest.fixture
def raising(monkeypatch):
    """A command `fail` that raises what it is given."""

    def install(error: BaseException) -> None:
        @click.command()
        @click.option("--json", "as_json", is_flag=True)
        @click.option("--count", type=int)
        def fail(as_json: bool, count: int | None) -> None:
            del as_json, count
            raise error

        monkeypatch.setattr(cli, "failing", fail, raising=False)
        row = cli.Row("mustwright.cli.main", "failing", "Fails.")
        monkeypatch.setitem(cli.COMMANDS, "fail", row)

    return install


def test_an_input_error_is_one_line_and_exit_2(raising, capsys):
    raising(InputError("must.volume", "needs a volume above zero", "-3\nL"))
    assert cli.run(["fail"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("mustwright: Volume: needs a volume above zero, got ")
    assert err.count("\n") == 1


def test_with_json_the_error_is_also_an_object_on_stdout(raising, capsys):
    raising(ImpossibleError("must.gravity", "needs honey enough", 1.4))
    assert cli.run(["fail", "--json"]) == 2
    out, err = capsys.readouterr()
    assert json.loads(out) == {
        "error": {
            "field": "must.gravity",
            "requirement": "needs honey enough",
            "got": "1.4",
            "message": "Gravity: needs honey enough, got 1.4",
        }
    }
    assert err == "mustwright: Gravity: needs honey enough, got 1.4\n"


def test_an_error_without_a_field_has_the_same_shape(raising, capsys):
    raising(ConflictError("someone else\nchanged it"))
    assert cli.run(["fail", "--json"]) == 2
    out, err = capsys.readouterr()
    error = json.loads(out)["error"]
    assert set(error) == {"field", "requirement", "got", "message"}
    assert error["field"] is None
    assert err == "mustwright: someone else changed it\n"


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        (["version", "--sideways", "--json"], "--sideways"),
        (["nonsense", "--json"], None),
        (["fail", "--count", "many", "--json"], "count"),
        (["serve", "--port", "-1", "--json"], "--json"),
        (["--sideways", "--json"], "--sideways"),
    ],
)
def test_usage_errors_follow_the_same_contract(typed, field, raising, capsys):
    raising(ZeroDivisionError("never reached"))
    assert cli.run(typed) == 2
    out, err = capsys.readouterr()
    error = json.loads(out)["error"]
    assert error["field"] == field
    assert error["message"]
    assert err == f"mustwright: {error['message']}\n"


def test_json_after_a_double_dash_is_no_option(capsys):
    assert cli.run(["version", "--", "--json"]) == 2
    assert capsys.readouterr().out == ""


def test_a_defect_is_not_dressed_up(raising):
    raising(ZeroDivisionError("a defect"))
    with pytest.raises(ZeroDivisionError):
        cli.run(["fail"])


def test_interrupted_is_130(raising):
    raising(KeyboardInterrupt())
    assert cli.run(["fail"]) == 130


def test_a_warning_is_one_line(capsys, monkeypatch):
    monkeypatch.setattr(warnings, "showwarning", warnings.showwarning)
    cli._show_warning(UserWarning("outside\nits range"), UserWarning, "file.py", 3)
    assert capsys.readouterr().err == "mustwright: note: outside its range\n"


@pytest.mark.parametrize("name", list(cli.COMMANDS))
def test_every_row_of_the_table_leads_to_a_command(name):
    row = cli.COMMANDS[name]
    command = getattr(importlib.import_module(row.module), row.function)
    assert isinstance(command, click.Command)
    assert command.help
    assert row.help.endswith(".")


@pytest.mark.parametrize("word", ["\ud800", "a\udcffb", "a\x00b"])
@pytest.mark.parametrize("more", [[], ["--json"]])
def test_half_a_character_on_the_command_line_is_said_in_one_line(word, more, capsys):
    for typed in (["convert", word, "--to", "SG"], ["plan", word], [word], ["batch", "show", word]):
        assert cli.run([*typed, *more]) == 2
        shown = capsys.readouterr()
        assert shown.err.count("\n") == 1
        assert "plain text" in shown.err
