"""What the commands on must sheets share: reading the file, finding the maker's own protocols."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from mustwright.cli.speech import echo, note
from mustwright.errors import InputError
from mustwright.texts import say

if TYPE_CHECKING:
    from mustwright.figure import Figure
    from mustwright.kinetics.house_prior import HousePrior
    from mustwright.nutrition.protocols import Protocol
    from mustwright.planning.likeness import HouseFor, Likeness
    from mustwright.planning.must_setup import Ground

LARGEST_FILE = 1_000_000
Command = TypeVar("Command", bound=Callable[..., Any])


def sheet_text(path: str) -> tuple[str, str]:
    """The text of a sheet file (``-`` for standard input) and a name for it."""
    if path == "-":
        return sys.stdin.read(), "must"
    return file_text(path, "FILE"), Path(path).stem


def spoken_sheet(path: str) -> tuple[str, str]:
    """The same; from here on, amounts are said in the units of that sheet, or as chosen."""
    from mustwright.unit_system import speak_of

    text, name = sheet_text(path)
    speak_of(text)
    return text, name


def file_text(path: str, field: str) -> str:
    """The text of a file.

    Raises
    ------
    InputError
        If it cannot be read, is too large or is not UTF-8 text.
    """
    try:
        size = Path(path).stat().st_size
        if size > LARGEST_FILE:
            raise InputError(
                field,
                say("needs a file of at most 1 MB"),
                say("{path} ({size} bytes)", path=path, size=size),
            )
        return Path(path).read_text(encoding="utf-8")
    except OSError as error:
        raise InputError(
            field, say("needs a file that can be read"), f"{path}: {error.strerror}"
        ) from None
    except UnicodeDecodeError:
        raise InputError(field, say("needs UTF-8 text"), path) from None


def chosen_protocols(typed: tuple[str, ...]) -> tuple[list[str], dict[str, Protocol]]:
    """Ids to use and the protocols they need that are not built in.

    A word ending in ``.toml`` is a protocol file; any other is the id of a built-in protocol or of
    one in the maker's cellar.
    """
    from mustwright.nutrition.protocols import built_in_protocols, read_protocol

    ids: list[str] = []
    own: dict[str, Protocol] = {}
    for word in typed:
        if word.endswith(".toml"):
            protocol = read_protocol(file_text(word, "--protocol"))
            own[protocol.id] = protocol
            ids.append(protocol.id)
        else:
            ids.append(word)
    if not typed or any(i not in own and i not in built_in_protocols() for i in ids):
        own = {**cellar_protocols(), **own}
    return ids, own


def cellar_protocols() -> dict[str, Protocol]:
    """The maker's own protocols that can be read, by id."""
    from mustwright.services.own_protocols import protocols_in

    return protocols_in(tuple(cellar_texts().values()))


def cellar_texts() -> dict[str, str]:
    """The files of the maker's own protocols; nothing is opened if there is no cellar yet."""
    from mustwright.compose import Compose, data_folder

    if not (data_folder() / "cellar.db").exists():
        return {}
    from mustwright.services.own_protocols import protocol_texts

    compose = Compose.from_environment()
    try:
        return protocol_texts(compose.cellar)
    finally:
        compose.close()


def own_house() -> HouseFor | None:
    """What the maker's finished batches say; None if there is no cellar yet."""
    from mustwright.compose import Compose, data_folder, database_address

    if not (database_address() or (data_folder() / "cellar.db").exists()):
        return None

    def prior(likeness: Likeness) -> HousePrior | None:
        compose = Compose.from_environment()
        try:
            return compose.house_for(learn=True)(likeness)
        finally:
            compose.close()

    return prior


HOUSE = click.option(
    "--house/--no-house",
    default=True,
    show_default=True,
    help="Start from what was learned from your finished batches.",
)


def aim_option(command: Command) -> Command:
    """The option that plan and compare share: what the maker wants most."""
    return click.option(
        "--aim",
        metavar="AIM",
        help="What you want most: security, quick, gentle, fruity, few_feeds or cheap.",
    )(command)


def as_written_option(command: Command) -> Command:
    """The option that plan, compare and batch start share: protocols as authors wrote them."""
    return click.option(
        "--as-written",
        is_flag=True,
        help="Follow protocols as their authors wrote them: only the law is a limit. Where a label "
        "or the stock is exceeded, you are told.",
    )(command)


def forecast_option(command: Command) -> Command:
    """The option that plan and compare share: the pH too, or no forecast at all."""
    return click.option(
        "--forecast/--no-forecast",
        default=None,
        help="With the pH, which takes a few seconds longer; or no forecast, and "
        "common practice picks the protocol.",
    )(command)


def generic_lines(ground: Ground) -> list[str]:
    """That generic kinds are planned with, where the sheet names no nutrients."""
    if not ground.setting.shelf.is_generic:
        return []
    return [
        say(
            "This plan uses generic nutrients because the sheet names none. Do not "
            "weigh anything by it. List what you have under [shelf]."
        ),
        "",
    ]


def print_answer(lines: Iterable[str], working: Callable[[], Mapping[str, Figure]] | None) -> None:
    """An answer as text and, if asked for, the working of its figures below."""
    for line in lines:
        echo(line)
    if working is None:
        return
    from mustwright.cli.figure_text import working_lines

    echo(say("\nWorking"))
    for line in working_lines(working()):
        echo(say("  {line}", line=line))


def print_json(data: dict[str, Any]) -> None:
    """One JSON object on standard output."""
    click.echo(json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False))


def say_when_compiling() -> None:
    """A note on standard error when the first forecast of an installation has to compile."""
    from mustwright.compose import data_folder
    from mustwright.kinetics.ready import cache_folder, is_compiled

    folder = cache_folder(data_folder())
    if folder is not None:
        os.environ["NUMBA_CACHE_DIR"] = str(folder)  # read when the kernel is first imported
    if not is_compiled():
        note(say("compiling the model, once for this installation (some seconds)"))
        from mustwright.cli.progress_line import on_stderr
        from mustwright.kinetics.compile_progress import CompileProgress, listen_from_now

        told = on_stderr(say("compiling the model"))
        listen_from_now(CompileProgress(lambda: False, told=told))
