"""The `backup` and `restore` commands: the whole cellar in one file, and back."""

from __future__ import annotations

from pathlib import Path

import click

from mustwright.cli.sheets import print_json

DATABASE = click.option("--database", metavar="URL", help="A PostgreSQL address of the cellar.")


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
    said = ", ".join(f"{n} {name}" for name, n in rows.items() if n)
    click.echo(f"{path}: {said or 'an empty cellar'}")


@click.command("restore")
@click.argument("path", metavar="PATH", type=click.Path(path_type=Path))
@DATABASE
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def restore_command(path: Path, database: str | None, as_json: bool) -> None:
    """Bring a backup back as the whole cellar; the one that was there is kept aside."""
    from mustwright.compose import Compose

    done = Compose.from_environment(database).restore(path.absolute())
    aside = str(done.aside) if done.aside else None
    if as_json:
        print_json({"rows": done.rows, "aside": aside, "sealed": done.sealed})
        return
    said = ", ".join(f"{n} {name}" for name, n in done.rows.items() if n)
    click.echo(f"restored: {said or 'an empty cellar'}")
    if not done.sealed:
        click.echo("This file carries no seal: it is whole as a database, no more is known.")
    if aside:
        click.echo(f"What was there before: {aside}")
