"""The one way out for words of a command: put into the language spoken here, then printed.

What is looked up by its English (help, words of the library that reads the command line) goes
through `in_language`; answers as JSON do not come by here and stay English.
"""

from __future__ import annotations

import re
import sys

import click

from mustwright.languages import here, spoken
from mustwright.texts import Text, literal, say

AGREED, DECLINED = ("y", "yes", "j", "ja"), ("", "n", "no", "nein")

_texts: dict[str, Text] = {}


def echo(text: str = "", *, err: bool = False) -> None:
    """Print a line in the language spoken here; on standard error with `err`."""
    click.echo(here(text), err=err)


def note(text: str) -> None:
    """A line on standard error beside the answer."""
    print(f"mustwright: note: {here(text)}", file=sys.stderr, flush=True)


def confirm(question: str, *, abort: bool = False, err: bool = False) -> bool:
    """Ask in the language spoken here; nothing typed is a no, and `abort` ends the command then.

    What other languages answer is understood too.
    """
    asked = here(say("{question} [y/N]", context="answers", question=question))
    while True:
        typed = click.prompt(asked, default="", show_default=False, err=err).strip().lower()
        if typed in AGREED:
            return True
        if typed in DECLINED:
            if abort:
                raise click.Abort
            return False
        echo(say("Answer y or n."), err=err)


def looked_up(text: str) -> str:
    """A help text that holds values, as plain English that `in_language` finds again."""
    if isinstance(text, Text):
        _texts[_one_line(text)] = text
    return str(text)


def in_language(english: str) -> str:
    """What the language spoken here says for an English wording; paragraphs one by one.

    Lines of a paragraph that begins with a backspace are examples, and stay.
    """
    if spoken() is None:
        return english
    return "\n\n".join(_paragraph(one) for one in english.split("\n\n"))


def _paragraph(english: str) -> str:
    if english.startswith("\b") or not english.strip():
        return english
    line = _one_line(english)
    return here(_texts.get(line) or literal(line))


def _one_line(text: str) -> str:
    return re.sub(r"\s+", " ", text).strip()
