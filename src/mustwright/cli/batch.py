"""The `batch` command: start a batch, see how it stands, what comes next, what to worry about."""

from __future__ import annotations

from pathlib import Path

import click

from mustwright.cli.batch_compare import compare
from mustwright.cli.batch_context import BATCH, FORECAST, JSON, moment_of, opened, told, view_now
from mustwright.cli.batch_import_export import TAKE_COMMANDS
from mustwright.cli.batch_lot import lot_command
from mustwright.cli.batch_record import RECORD_COMMANDS
from mustwright.cli.sheets import as_written_option, file_text, print_json
from mustwright.cli.speech import echo
from mustwright.cli.spoken_help import group
from mustwright.cli.units import UNITS
from mustwright.errors import InputError
from mustwright.texts import say


@group("batch")
def batch_command() -> None:
    """A running batch: record what happens and see the next step."""


@batch_command.command("start")
@click.argument("must", metavar="MUST")
@click.option(
    "--protocol", metavar="ID", help="Id of a protocol; the recommended one if not given."
)
@click.option("--name", help="Name of the batch; the name of the must if not given.")
@click.option("--pitched", metavar="WHEN", help="When the yeast was pitched, if it was.")
@as_written_option
@UNITS
@JSON
def start(
    must: str,
    protocol: str | None,
    name: str | None,
    pitched: str | None,
    as_written: bool,
    as_json: bool,
) -> None:
    """Start a batch from MUST: a saved must, or a sheet file (.toml)."""
    if as_written and protocol is None:
        raise InputError(
            "--as-written", say("needs --protocol, to say whose plan is followed"), say("none")
        )
    with opened() as compose:
        from mustwright.services.batch.start import start_planned
        from mustwright.units import sheet_plainly_typed

        cellar, ledger = compose.cellar, compose.ledger
        kept = None if must.endswith(".toml") else cellar.record("sheet", must)
        called = name or (kept.name if kept else Path(must).stem)
        when = moment_of(compose, pitched) if pitched else None
        record = start_planned(
            cellar, ledger, kept or sheet_plainly_typed(file_text(must, "MUST")), called, protocol,
            now=compose.clock(), pitched_at=when, house=compose.house_for(learn=True),
            as_written=as_written,
        )  # fmt: skip
        view = view_now(compose, record.slug)
        if as_json:
            from mustwright.batch.view_json import view_data

            print_json(view_data(view))
            return
        by = view.progress.plan.protocol_name
        echo(
            say(
                "{slug}: started by '{protocol}'. {step}",
                slug=record.slug,
                protocol=by,
                step=view.step.sentence,
            )
        )


@batch_command.command("list")
@UNITS
@JSON
def list_batches(as_json: bool) -> None:
    """What is due today across all batches, the worst first."""
    with opened() as compose:
        from mustwright.must.gravity_text import gravity_text
        from mustwright.plain_data import data_of
        from mustwright.services.batch.worklist import due_today

        found = due_today(compose.ledger, compose.clock(), compose.local_zone, budget_s=5.0)
        if as_json:
            print_json(data_of(found))
            return
        for title, items in ((say("Today"), found.today), (say("Later"), found.later)):
            if items:
                echo(title)
            for item in items:
                for words in item.beyond:
                    echo(say("  ! {slug}: {words}", slug=item.slug, words=words))
                gravity = "" if item.gravity is None else " " + gravity_text(item.gravity)
                told_already = item.finding in item.beyond
                trouble = (
                    say("  ! {finding}", finding=item.finding)
                    if item.finding and not told_already
                    else ""
                )
                echo(
                    say(
                        "  {slug} ({phase}{gravity}): {sentence}{trouble}",
                        slug=item.slug,
                        phase=item.phase,
                        gravity=gravity,
                        sentence=item.sentence,
                        trouble=trouble,
                    )
                )
        if not (found.today or found.later):
            echo(say("No batch is running."))


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
            echo(line)


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
            echo(line)
        echo(step.sentence)
        if step.withdrawn:
            echo(step.withdrawn)
        if step.caution:
            echo(say("  ! {caution}", caution=step.caution))


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
            echo(line)


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
                echo(line)
        if adopt:
            from mustwright.services.batch.replan import adopt as put_in_force

            seen = view.record.version
            entry = put_in_force(
                compose.ledger, slug, now=compose.clock(), zone=compose.local_zone, seen=seen
            )
            told(compose, slug, entry, as_json)


for command in (*RECORD_COMMANDS, *TAKE_COMMANDS, lot_command, compare):
    batch_command.add_command(command)
