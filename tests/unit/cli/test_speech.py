"""A question of a command is asked, and its answer read, in the language spoken."""

from __future__ import annotations

import click
import pytest
from click.testing import CliRunner

from mustwright.cli.speech import confirm
from mustwright.languages import language_called, speaking


@click.command()
@click.option("--language", default="en")
@click.option("--abort", is_flag=True)
def asked(language: str, abort: bool) -> None:
    with speaking(language_called(language)):
        click.echo(f"<{confirm('Good?', abort=abort)}>")


@pytest.mark.parametrize(
    ("language", "typed", "means"),
    [
        ("en", "y\n", True), ("en", "YES\n", True), ("en", "\n", False), ("en", "no\n", False),
        ("de", "j\n", True), ("de", "Ja\n", True), ("de", "y\n", True), ("de", "nein\n", False),
        ("de", "\n", False),
    ],
)  # fmt: skip
def test_yes_and_no_are_read_in_both_languages(language, typed, means):
    done = CliRunner().invoke(asked, ["--language", language], input=typed)
    assert ("Good? [y/N]: " if language == "en" else "Good? [j/N]: ") in done.output
    assert f"<{means}>" in done.output


def test_what_is_neither_is_asked_again():
    done = CliRunner().invoke(asked, ["--language", "de"], input="vielleicht\nja\n")
    assert done.output.count("[j/N]") == 2
    assert "Mit j oder n antworten." in done.output
    assert "<True>" in done.output


@pytest.mark.parametrize("typed", ["n\n", "\n", ""])
def test_a_no_and_an_end_of_input_end_the_command_where_that_is_asked(typed):
    done = CliRunner().invoke(asked, ["--abort"], input=typed)
    assert done.exit_code == 1
    assert "<" not in done.output.replace("<stdin>", "")
