"""The `backup` and `restore` commands: the whole cellar in one file, and back."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from mustwright.cli.sheets import print_json

if TYPE_CHECKING:
    from mustwright.compose import Compose
    from mustwright.services.repository import Restored

DATABASE = click.option("--database", metavar="URL", help="A PostgreSQL address of the cellar.")
LEFT_OUT = "Passphrase, sessions and tokens are not in it: they never leave this cellar."
ENDED = (
    "Every session and every token of a device or calendar has ended: sign in again, make new"
    " tokens. The passphrase is the one this cellar had."
)


@click.command("backup")
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
    click.echo(f"{path}: {_counted(rows)}")
    click.echo(LEFT_OUT)


@click.command("restore")
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
    click.echo(f"restored: {_counted(done.rows)}")
    if not done.sealed:
        click.echo("This file carries no seal: it could be read whole, no more is known.")
    if aside:
        click.echo(f"What was there before: {aside}")
    click.echo(ENDED)


def _restored(compose: Compose, path: Path, foreign: bool, asks: bool) -> Restored:
    """Restore; a file of another cellar only after it was asked about, in a terminal."""
    from mustwright.services.repository import ForeignFileError

    try:
        return compose.restore(path, foreign=foreign)
    except ForeignFileError as error:
        if not asks or not sys.stdin.isatty():
            raise ForeignFileError(f"{error}; if you trust it, say --foreign") from None
        click.echo(f"{error}.")
        click.confirm("Take it all the same?", abort=True)
    return compose.restore(path, foreign=True)


def _counted(rows: dict[str, int]) -> str:
    return ", ".join(f"{n} {name}" for name, n in rows.items() if n) or "an empty cellar"
