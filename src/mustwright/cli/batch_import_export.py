"""`batch import`, `export`, `calendar`, `token`: what comes in and goes out."""

from __future__ import annotations

import click

from mustwright.cli.batch_context import BATCH, JSON, opened, view_now
from mustwright.cli.speech import echo
from mustwright.cli.spoken_help import command


@command("import")
@click.argument("file", metavar="FILE")
@click.option("--into", metavar="BATCH", help="For a CSV file: the batch it belongs to.")
@click.option("--column", "columns", multiple=True, metavar="OURS=THEIRS", help="For a CSV file.")
@click.option(
    "--preview", "only_look", is_flag=True, help="Show what it would write; write nothing."
)
@JSON
def import_command(
    file: str, into: str | None, columns: tuple[str, ...], only_look: bool, as_json: bool
) -> None:
    """Import a batch (.json), or readings and events from a CSV file. All or nothing."""
    from mustwright.cli.batch_files import import_csv_file, import_json_file

    with opened() as compose:
        if into is None:
            import_json_file(compose, file, as_json)
        else:
            import_csv_file(compose, file, into, columns, only_look, as_json)


@command("export")
@BATCH
@click.option("--csv", "as_csv", is_flag=True, help="Readings, feeds, events, notes as CSV.")
def export(slug: str, as_csv: bool) -> None:
    """Print the whole batch as JSON, or its log as CSV."""
    with opened() as compose:
        if as_csv:
            from mustwright.services.batch.log_table import export_csv

            click.echo(export_csv(view_now(compose, slug).stands), nl=False)
            return
        from mustwright.services.batch.export_json import export_json

        click.echo(export_json(compose.ledger, slug))


@command("calendar")
@BATCH
def calendar(slug: str) -> None:
    """Print feeds and checks as an iCalendar file."""
    with opened() as compose:
        from mustwright.batch.calendar import calendar_text

        view = view_now(compose, slug)
        click.echo(calendar_text([view], view.record.name, compose.local_zone).decode(), nl=False)


@command("token")
@BATCH
@click.option("--label", default="device", show_default=True, help="What it is for.")
@click.option("--calendar", "for_calendar", is_flag=True, help="For a calendar, not a device.")
@click.option("--revoke", metavar="ID", help="End a token.")
@click.option("--list", "listed", is_flag=True, help="List the tokens of the batch.")
@JSON
def token(
    slug: str, label: str, for_calendar: bool, revoke: str | None, listed: bool, as_json: bool
) -> None:
    """Make a token for a device or a calendar: shown once, kept as a hash."""
    from mustwright.cli.batch_files import token_lines

    with opened() as compose:
        purpose = "calendar" if for_calendar else "device"
        for line in token_lines(compose, slug, label, purpose, revoke, listed, as_json):
            echo(line)


TAKE_COMMANDS = (import_command, export, calendar, token)
