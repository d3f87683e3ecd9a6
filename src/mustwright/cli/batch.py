"""The `batch` command: start a batch, see how it stands, what comes next, what to worry about."""

from __future__ import annotations

from pathlib import Path

import click

from mustwright.cli.batch_compare import compare
from mustwright.cli.batch_context import BATCH, FORECAST, JSON, moment_of, opened, told, view_now
from mustwright.cli.batch_import_export import TAKE_COMMANDS
from mustwright.cli.batch_lot import lot_command
from mustwright.cli.batch_record import RECORD_COMMANDS
from mustwright.cli.sheets import file_text, print_json
from mustwright.cli.units import UNITS


@click.group("batch")
def batch_command() -> None:
    """A running batch: record what happens and see the next step."""


@batch_command.command("start")
@click.argument("must", metavar="MUST")
@click.option(
    "--protocol", metavar="ID", help="Id of a protocol; the recommended one if not given."
)
@click.option("--name", help="Name of the batch; the name of the must if not given.")
@click.option("--pitched", metavar="WHEN", help="When the yeast was pitched, if it was.")
@UNITS
@JSON
def start(
    must: str, protocol: str | None, name: str | None, pitched: str | None, as_json: bool
) -> None:
    """Start a batch from MUST: a must kept in the cellar, or a sheet file (.toml)."""
    with opened() as compose:
        from mustwright.services.batch.start import start_planned

        cellar, ledger = compose.cellar, compose.ledger
        kept = None if must.endswith(".toml") else cellar.record("sheet", must)
        called = name or (kept.name if kept else Path(must).stem)
        when = moment_of(compose, pitched) if pitched else None
        record = start_planned(
            cellar, ledger, kept or file_text(must, "MUST"), called, protocol,
            now=compose.clock(), pitched_at=when, house=compose.house_for(learn=True),
        )  # fmt: skip
        view = view_now(compose, record.slug)
        if as_json:
            from mustwright.batch.view_json import view_data

            print_json(view_data(view))
            return
        by = view.progress.plan.protocol_name
        click.echo(f"{record.slug}: started by '{by}'. {view.step.sentence}")


@batch_command.command("list")
@UNITS
@JSON
def list_batches(as_json: bool) -> None:
    """What is due today across all batches, the worst first."""
    with opened() as compose:
        from mustwright.plain_data import data_of
        from mustwright.services.batch.worklist import due_today

        found = due_today(compose.ledger, compose.clock(), compose.local_zone, budget_s=5.0)
        if as_json:
            print_json(data_of(found))
            return
        for title, items in (("Today", found.today), ("Later", found.later)):
            if items:
                click.echo(title)
            for item in items:
                for words in item.beyond:
                    click.echo(f"  ! {item.slug}: {words}")
                gravity = f" {item.gravity:.3f}" if item.gravity is not None else ""
                told_already = item.finding in item.beyond
                trouble = f"  ! {item.finding}" if item.finding and not told_already else ""
                click.echo(f"  {item.slug} ({item.phase}{gravity}): {item.sentence}{trouble}")
        if not (found.today or found.later):
            click.echo("No batch is running.")


@batch_command.command("show")
@BATCH
@FORECAST
@UNITS
@JSON
def show(slug: str, forecast: bool, as_json: bool) -> None:
    """The state of a batch: gravity, feeds, findings and log."""
    with opened() as compose:
        view = view_now(compose, slug, forecast)
        if as_json:
            from mustwright.batch.view_json import view_data

            print_json(view_data(view))
            return
        from mustwright.cli.batch_text import view_lines

        for line in view_lines(view, compose.local_zone):
            click.echo(line)


@batch_command.command("next")
@BATCH
@FORECAST
@UNITS
@JSON
def next_command(slug: str, forecast: bool, as_json: bool) -> None:
    """The next step, in one sentence."""
    with opened() as compose:
        view = view_now(compose, slug, forecast)
        step = view.step
        if as_json:
            from mustwright.plain_data import data_of

            print_json({"beyond": data_of(view.beyond), "next": data_of(step)})
            return
        from mustwright.cli.batch_text import beyond_lines

        for line in beyond_lines(view):
            click.echo(line)
        click.echo(step.sentence)
        if step.withdrawn:
            click.echo(step.withdrawn)
        if step.caution:
            click.echo(f"  ! {step.caution}")


@batch_command.command("watch")
@BATCH
@FORECAST
@UNITS
@JSON
def watch(slug: str, forecast: bool, as_json: bool) -> None:
    """What is wrong, the likely causes, and how to restart a batch that stopped short."""
    with opened() as compose:
        view = view_now(compose, slug, forecast)
        if as_json:
            from mustwright.batch.view_json import view_data

            data = view_data(view)
            print_json({k: data[k] for k in ("findings", "diagnosis", "restart")})
            return
        from mustwright.cli.batch_text import watch_lines

        for line in watch_lines(view):
            click.echo(line)


@batch_command.command("replan")
@BATCH
@click.option("--adopt", is_flag=True, help="Use the proposed plan.")
@FORECAST
@UNITS
@JSON
def replan(slug: str, adopt: bool, forecast: bool, as_json: bool) -> None:
    """Show a plan that fits the readings; --adopt uses it."""
    with opened() as compose:
        from mustwright.batch.view_json import proposal_data

        view = view_now(compose, slug, forecast)
        if as_json and not adopt:
            print_json({"proposal": proposal_data(view.proposal)})
            return
        if not as_json:
            from mustwright.cli.batch_text import proposal_lines

            for line in proposal_lines(view):
                click.echo(line)
        if adopt:
            from mustwright.services.batch.replan import adopt as put_in_force

            seen = view.record.version
            entry = put_in_force(
                compose.ledger, slug, now=compose.clock(), zone=compose.local_zone, seen=seen
            )
            told(compose, slug, entry, as_json)


for command in (*RECORD_COMMANDS, *TAKE_COMMANDS, lot_command, compare):
    batch_command.add_command(command)
