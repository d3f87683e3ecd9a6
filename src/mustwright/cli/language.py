"""In which language does a command speak: as asked, as one person likes it, or as the cellar."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from functools import cache
from itertools import pairwise
from typing import Any, TypeVar

import click

from mustwright.cli.speech import looked_up
from mustwright.errors import InputError
from mustwright.languages import ENGLISH, NAMED, Choice, Language, language_called
from mustwright.texts import say

OPTION = "--language"
OWN_LANGUAGE = "MUSTWRIGHT_LANGUAGE"
Decorated = TypeVar("Decorated", bound=Callable[..., Any])


def language_asked(typed: Sequence[str]) -> Choice:
    """The language of a command line, looked up when the first word is printed.

    It counts for the whole line, also for what is wrong with it.

    Raises
    ------
    InputError
        When the variable of this person names none that is known.
    """
    code = _typed_code(typed)
    own = os.environ.get(OWN_LANGUAGE, "").strip()
    if code is None and own and own not in NAMED:
        raise InputError(OWN_LANGUAGE, say("needs one of {codes}", codes=", ".join(NAMED)), own)

    def language() -> Language | None:
        return language_called(code or own or _cellar_language() or ENGLISH)

    return cache(language)


def _typed_code(typed: Sequence[str]) -> str | None:
    """What follows the option; the option itself says what is wrong with any other word."""
    words = [*typed[: typed.index("--")]] if "--" in typed else [*typed]
    found = [after for word, after in pairwise(words) if word == OPTION]
    found += [word.partition("=")[2] for word in words if word.startswith(f"{OPTION}=")]
    return next((code for code in found if code in NAMED), None)


def _cellar_language() -> str:
    from mustwright.compose import Compose

    return Compose.from_environment().language_alone()


_HELP = say(
    "Language: {codes}; else {variable}, else that of the cellar, else English.",
    codes=", ".join(NAMED),
    variable=OWN_LANGUAGE,
)


def language_option() -> click.Option:
    """The option, for a command that is built of options."""
    return click.Option(
        [OPTION],
        type=click.Choice(tuple(NAMED)),
        metavar="CODE",
        expose_value=False,
        help=looked_up(_HELP),
    )


def in_a_language(command: Decorated) -> Decorated:
    """The same as a decorator."""
    return click.option(
        OPTION,
        type=click.Choice(tuple(NAMED)),
        metavar="CODE",
        expose_value=False,
        help=looked_up(_HELP),
    )(command)
