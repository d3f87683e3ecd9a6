"""What can be asked on the command line: a table of commands, loaded only when called for.

To add a command, write it in its own module in this folder and add one row to `COMMANDS`.
"""

from __future__ import annotations

import importlib
import io
import json
import os
import sys
import warnings
from collections.abc import Sequence
from contextvars import copy_context
from typing import NamedTuple, NoReturn

import click

from mustwright.cli.language import language_asked
from mustwright.cli.speech import echo, note
from mustwright.cli.spoken_help import SpokenGroup, group
from mustwright.cli.usage_words import usage_words
from mustwright.errors import InputError, MustwrightError, not_plain
from mustwright.languages import here, speaking
from mustwright.texts import say


class Row(NamedTuple):
    """Where a command is found, and the line that the overview shows for it."""

    module: str
    function: str
    help: str


COMMANDS: dict[str, Row] = {
    "plan": Row("mustwright.cli.plan", "plan_command", "Mix, pitch and feed: plan a must."),
    "compare": Row(
        "mustwright.cli.compare", "compare_command", "Feeding protocols side by side on a must."
    ),
    "batch": Row(
        "mustwright.cli.batch", "batch_command", "A running batch: record it, see the next step."
    ),
    "forecast": Row(
        "mustwright.cli.forecast", "forecast_command", "What a must will do, with its uncertainty."
    ),
    "acidity": Row(
        "mustwright.cli.acidity", "acidity_command", "The lowest pH to expect, and the salt to add."
    ),
    "finish": Row(
        "mustwright.cli.finish",
        "finish_command",
        "From dry mead to bottle: stable, sulfite, sweeten, ...",
    ),
    "tasting": Row(
        "mustwright.cli.tasting", "tasting_command", "Blind tastings: plan, order, judge."
    ),
    "trial": Row(
        "mustwright.cli.trial",
        "trial_command",
        "Trials: one must, several vessels, one difference.",
    ),
    "house": Row(
        "mustwright.cli.house", "house_command", "What was learned from your finished batches."
    ),
    "convert": Row(
        "mustwright.cli.convert", "command", "Convert a value to another unit or scale."
    ),
    "protocols": Row(
        "mustwright.cli.protocols", "protocols_command", "List, show, check and keep protocols."
    ),
    "kinds": Row("mustwright.cli.kinds", "kinds_command", "Names you can use in a must sheet."),
    "glossary": Row(
        "mustwright.cli.glossary", "glossary_command", "What the words of the trade mean."
    ),
    "serve": Row("mustwright.cli.serve", "serve", "Open the web pages on this machine."),
    "backup": Row(
        "mustwright.cli.cellar_copy", "backup_command", "Copy the whole cellar into one file."
    ),
    "restore": Row(
        "mustwright.cli.cellar_copy",
        "restore_command",
        "Restore a backup; today's cellar is kept aside.",
    ),
    "version": Row("mustwright.cli.version", "version", "Say which version this is."),
}


class LazyGroup(SpokenGroup):
    """A group that imports the module of a command only when that command is used."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """The names, in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """The command of that name, imported now."""
        row = COMMANDS.get(cmd_name)
        if row is None:
            return None
        command = getattr(importlib.import_module(row.module), row.function)
        if not isinstance(command, click.Command):
            raise TypeError(f"{row.module}:{row.function} is no command")
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """The overview, from the table alone."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, row.help) for name, row in COMMANDS.items()])


@group(
    cls=LazyGroup,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.pass_context
def root(ctx: click.Context) -> None:
    """Plan mead musts and their feeding from what you have."""
    if ctx.invoked_subcommand is None:
        echo(ctx.get_help())


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run one command and exit: 0 done, 1 a defect, 2 what was typed cannot be used."""
    typed = list(sys.argv[1:] if arguments is None else arguments)
    sys.exit(run(typed))


def run(typed: list[str]) -> int:
    """Run one command and return its exit code. The only place where errors become words."""
    warnings.showwarning = _show_warning
    for stream in (sys.stdout, sys.stderr):  # what a terminal cannot show must not stop a command
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    try:
        language = language_asked(typed)
    except InputError as error:
        return _refuse(_described(error), typed)
    with speaking(language):
        return _run(typed)


def _run(typed: list[str]) -> int:
    for number, word in enumerate(typed, 1):
        if wrong := not_plain(word):
            words = say(
                "word {number} of the command needs plain text (UTF-8), got {wrong}",
                number=number, wrong=wrong,
            )  # fmt: skip
            return _refuse(_error(None, say("needs plain text"), wrong, words), typed)
    try:
        result = copy_context().run(  # what a command chooses to speak in ends with it
            root.main, args=typed, prog_name="mustwright", standalone_mode=False
        )
        sys.stdout.flush()
    except MustwrightError as error:
        return _refuse(_described(error), typed)
    except click.ClickException as error:
        return _refuse(_described_usage(error), typed)
    except (click.Abort, KeyboardInterrupt):
        return 130
    except BrokenPipeError:  # the reader closed the pipe, as `| head` does
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 141
    return result if isinstance(result, int) else 0


def _refuse(error: dict[str, str | None], typed: list[str]) -> int:
    """One line on stderr, in the language spoken; in English as JSON where that was asked for."""
    options = typed[: typed.index("--")] if "--" in typed else typed
    message = error["message"] or ""
    if "--json" in options:
        print(json.dumps({"error": error | {"message": _one_line(message)}}, ensure_ascii=False))
    print(f"mustwright: {_one_line(here(message))}", file=sys.stderr)
    return 2


def _described(error: MustwrightError) -> dict[str, str | None]:
    if isinstance(error, InputError):
        from mustwright.planning.field_words import note_in_words

        got = error.got if isinstance(error.got, str) else str(error.got)
        return _error(error.field, error.requirement, got, note_in_words(error.text))
    return _error(None, None, None, error.text)


def _described_usage(error: click.ClickException) -> dict[str, str | None]:
    """A wrong option, argument or file name, in the same shape."""
    message = usage_words(_one_line(error.format_message()))
    field = None
    if isinstance(error, click.BadParameter) and error.param is not None:
        field = error.param.name
    elif isinstance(error, click.NoSuchOption):
        field = error.option_name
    elif isinstance(error, click.FileError):
        field = error.ui_filename
    return _error(field, message, None, message)


def _error(
    field: str | None, requirement: str | None, got: str | None, message: str
) -> dict[str, str | None]:
    return {"field": field, "requirement": requirement, "got": got, "message": message}


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _show_warning(message: Warning | str, *_where: object, **_more: object) -> None:
    """A published formula outside its range, and the like: one line on stderr."""
    told = message.args[0] if isinstance(message, Warning) and message.args else message
    note(_one_line(here(told) if isinstance(told, str) else str(told)))
