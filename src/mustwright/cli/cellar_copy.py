"""The `backup` and `restore` commands: the whole cellar in one file, and back."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from mustwright.cli.sheets import print_json
from mustwright.cli.speech import confirm, echo
from mustwright.cli.spoken_help import command
from mustwright.texts import say

if TYPE_CHECKING:
    from mustwright.compose import Compose
    from mustwright.services.repository import Restored

DATABASE = click.option("--database", metavar="URL", help="A PostgreSQL address of the cellar.")
LEFT_OUT = say("Passphrase, sessions and tokens are not in it: they never leave this cellar.")
ENDED = say(
    "Every session and every token of a device or calendar has ended: sign in "
    "again, make new tokens. The passphrase is the one this cellar had."
)


@command("backup")
@click.argument("path", metavar="PATH", type=click.Path(path_type=Path))
@DATABASE
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def backup_command(path: Path, database: str | None, as_json: bool) -> None:
    """Copy the whole cellar into a new file PATH, also while it is being served."""
    from mustwright.compose import Compose

    compose = Compose.from_environment(database)
    try:
        rows = compose.back_up(path.absolute())
    finally:
        compose.close()
    if as_json:
        print_json({"path": str(path), "rows": rows})
        return
    echo(say("{path}: {counted}", path=path, counted=_counted(rows)))
    echo(LEFT_OUT)


@command("restore")
@click.argument("path", metavar="PATH", type=click.Path(path_type=Path))
@DATABASE
@click.option("--foreign", is_flag=True, help="Also accept a file that this cellar did not make.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def restore_command(path: Path, database: str | None, foreign: bool, as_json: bool) -> None:
    """Replace the whole cellar by a backup; the old cellar is kept aside."""
    from mustwright.compose import Compose

    compose = Compose.from_environment(database)
    done = _restored(compose, path.absolute(), foreign, asks=not as_json)
    aside = str(done.aside) if done.aside else None
    if as_json:
        print_json({"rows": done.rows, "aside": aside, "sealed": done.sealed, "own": done.own})
        return
    echo(say("restored: {counted}", counted=_counted(done.rows)))
    if not done.sealed:
        echo(say("This file carries no seal: it could be read whole, no more is known."))
    if aside:
        echo(say("What was there before: {aside}", aside=aside))
    echo(ENDED)


def _restored(compose: Compose, path: Path, foreign: bool, asks: bool) -> Restored:
    """Restore; a file of another cellar only after it was asked about, in a terminal."""
    from mustwright.cli.progress_line import on_stderr
    from mustwright.services.repository import ForeignFileError

    told = on_stderr("restoring")
    try:
        return compose.restore(path, foreign=foreign, progress=told)
    except ForeignFileError as error:
        if not asks or not sys.stdin.isatty():
            raise ForeignFileError(
                say("{error}; if you trust it, say --foreign", error=error.text)
            ) from None
        echo(say("{error}.", error=error.text))
        confirm(say("Take it all the same?"), abort=True)
    return compose.restore(path, foreign=True, progress=told)


def _counted(rows: dict[str, int]) -> str:
    counted = [f"{n} {name}" for name, n in rows.items() if n]
    return ", ".join(counted) if counted else say("an empty cellar")
