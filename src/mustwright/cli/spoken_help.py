"""How is help said in the language spoken here: commands whose help is looked up when printed.

Docstrings and the help of options are written in English where the command is declared; the
catalogue knows them by that English. Names of commands and options stay as they are.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterable
from typing import Any

import click

from mustwright.cli.speech import in_language
from mustwright.languages import here, spoken
from mustwright.texts import literal, say

# What the library says of its own accord, by which it is looked up.
OF_THE_LIBRARY = (
    literal("Options"),
    literal("Commands"),
    literal("Show this message and exit."),
)
_EXTRA = re.compile(r"(?P<help>.*?)(?:  )?(?:\[(?P<extra>[^\[\]]*)\])?", re.DOTALL)


class SpokenFormatter(click.HelpFormatter):
    """Writes help in the language spoken here."""

    def write_usage(self, prog: str, args: str = "", prefix: str | None = None) -> None:
        """The line that shows how to call a command."""
        for word in (say("[OPTIONS]"), say("[COMMAND] [ARGS]..."), say("COMMAND [ARGS]...")):
            args = args.replace(word, here(word))
        super().write_usage(prog, args, here(say("Usage:")) + " " if prefix is None else prefix)

    def write_heading(self, heading: str) -> None:
        """The head of a section."""
        super().write_heading(in_language(heading))

    def write_text(self, text: str) -> None:
        """Paragraphs of help."""
        super().write_text(in_language(text))

    def write_dl(
        self, rows: Iterable[tuple[str, str]], col_max: int = 30, col_spacing: int = 2
    ) -> None:
        """Options or commands, each with its help."""
        super().write_dl([(name, _row_help(words)) for name, words in rows], col_max, col_spacing)


def _row_help(words: str) -> str:
    """The help of an option, and in brackets its default and whether it has to be given."""
    found = _EXTRA.fullmatch(words)
    if spoken() is None or found is None or found["extra"] is None:
        return in_language(words)
    extra = "; ".join(_extra(one) for one in found["extra"].split("; "))
    return f"{in_language(found['help'])}  [{extra}]".strip()


def _extra(words: str) -> str:
    if words == "required":
        return here(say("required"))
    before, _, value = words.partition("default: ")
    return here(say("default: {value}", value=value)) if value and not before else words


class SpokenContext(click.Context):
    """A command being run, its help in the language spoken here."""

    formatter_class = SpokenFormatter


class SpokenCommand(click.Command):
    """A command with help in the language spoken here."""

    context_class = SpokenContext

    def get_short_help_str(self, limit: int = 45) -> str:
        """The beginning of its help, for a list of commands."""
        if spoken() is None or not (self.short_help or self.help):
            return super().get_short_help_str(limit)
        if self.short_help:
            return in_language(self.short_help)
        return shortened(in_language(inspect.cleandoc(self.help or "").split("\n\n")[0]), limit)


def shortened(text: str, limit: int) -> str:
    """The first sentence of a text, cut between words.

    Examples
    --------
    >>> shortened("Start a batch. Then read it.", 45), shortened("Start a batch from a must", 18)
    ('Start a batch', 'Start a batch...')
    """
    sentence = re.split(r"\.(?:\s|$)", text, maxsplit=1)[0]
    if len(sentence) <= limit:
        return sentence
    return sentence[: limit - 2].rsplit(" ", 1)[0] + "..."


class SpokenGroup(SpokenCommand, click.Group):
    """A group of such commands."""

    command_class = SpokenCommand
    group_class = type


def command(name: str | None = None, **more: Any) -> Callable[[Callable[..., Any]], SpokenCommand]:
    """As `click.command`, its help in the language spoken here."""
    return click.command(name, cls=SpokenCommand, **more)


def group(
    name: str | None = None, cls: type[SpokenGroup] = SpokenGroup, **more: Any
) -> Callable[[Callable[..., Any]], SpokenGroup]:
    """As `click.group`, its help in the language spoken here."""
    return click.group(name, cls=cls, **more)
