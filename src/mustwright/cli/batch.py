"""The `batch` command: start, record, follow, correct, re-plan, take along."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from mustwright.cli.batch_desk import moment_of, opened, told, view_now
from mustwright.cli.sheets import file_text, print_json
from mustwright.errors import InputError

if TYPE_CHECKING:
    from mustwright.compose import Compose

JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
AT = click.option("--at", metavar="WHEN", help="now, 18:30, '2031-05-01 18:30' or ISO.")
BATCH = click.argument("slug", metavar="BATCH")
NOTE = click.option("--note", help="A few words.")


@click.group("batch")
def batch_command() -> None:
    """Follow a running batch: record what happens, be told the next step."""


@batch_command.command("start")
@click.argument("must", metavar="MUST")
@click.option("--protocol", metavar="ID", help="Id of a protocol; else the one that suits best.")
@click.option("--name", help="Name of the batch; else that of the must.")
@click.option("--pitched", metavar="WHEN", help="When the yeast went in, where it did.")
@JSON
def start(
    must: str, protocol: str | None, name: str | None, pitched: str | None, as_json: bool
) -> None:
    """Start a batch from MUST: a must kept in the cellar, or a sheet file (.toml)."""
    with opened() as compose:
        from mustwright.services.batch.record import plan_of, start_batch

        kept = "" if must.endswith(".toml") else must
        sheet = compose.cellar.sheet(kept) if kept else None
        text = file_text(must, "MUST") if sheet is None else _on_the_shelf(compose, sheet.text)
        called = name or (sheet.name if sheet else Path(must).stem)
        own = {record.id: record.text for record in compose.cellar.protocols()}
        plan = plan_of(text, protocol, own, called)
        now = compose.clock()
        when = moment_of(compose, pitched) if pitched else None
        record = start_batch(compose.ledger, plan, called, now=now, pitched_at=when, sheet=kept)
        view = view_now(compose, record.slug)
        if as_json:
            from mustwright.services.batch.look import view_data

            print_json(view_data(view))
            return
        click.echo(f"{record.slug}: started by '{plan.protocol_name}'. {view.step.sentence}")


def _on_the_shelf(compose: Compose, text: str) -> str:
    """A kept must as its page plans it: with the cellar's shelf, unless it has its own."""
    from mustwright.services.cellar import sheet_with_shelf

    return sheet_with_shelf(text, compose.cellar.nutrients())


@batch_command.command("list")
@JSON
def list_batches(as_json: bool) -> None:
    """What is due today across all batches, the worst first."""
    with opened() as compose:
        from mustwright.cellar.codec import data_of
        from mustwright.services.batch.due import due_today

        found = due_today(compose.ledger, compose.clock(), compose.local_zone, budget_s=5.0)
        if as_json:
            print_json(data_of(found))
            return
        for title, items in (("Today", found.today), ("Later", found.later)):
            if items:
                click.echo(title)
            for item in items:
                gravity = f" {item.gravity:.3f}" if item.gravity is not None else ""
                trouble = f"  ! {item.finding}" if item.finding else ""
                click.echo(f"  {item.slug} ({item.phase}{gravity}): {item.sentence}{trouble}")
        if not (found.today or found.later):
            click.echo("No batch is going on.")


@batch_command.command("show")
@BATCH
@JSON
def show(slug: str, as_json: bool) -> None:
    """How a batch stands: gravity, feeds, findings, and its log."""
    with opened() as compose:
        view = view_now(compose, slug)
        if as_json:
            from mustwright.services.batch.look import view_data

            print_json(view_data(view))
            return
        from mustwright.cli.batch_words import view_lines

        for line in view_lines(view, compose.local_zone):
            click.echo(line)


@batch_command.command("read")
@BATCH
@click.argument("gravity", required=False)
@click.option("--instrument", help="hydrometer (usual), refractometer or sensor.")
@click.option("--calibration", metavar="TEMP", help="Marked on the instrument; usual 20 C.")
@click.option("--sample", metavar="TEMP", help="Temperature of the liquid read.")
@click.option("--temperature", metavar="TEMP", help="Temperature of the must.")
@click.option("--ph", help="pH.")
@AT
@NOTE
@JSON
def read(slug: str, at: str | None, as_json: bool, **typed: str | None) -> None:
    """Record a reading: GRAVITY as read (1.062 or '15 Bx'), temperature, pH."""
    _write(slug, "reading", typed, at, as_json)


@batch_command.command("feed")
@BATCH
@click.option("--items", help="What went in: 'dap=4.2 g, autolysed_yeast=3 g'.")
@click.option("--feed", metavar="KEY", help="Key of the planned feed (f1, f2, ...).")
@click.option("--skipped", is_flag=True, help="This feed is left out.")
@AT
@NOTE
@JSON
def feed(slug: str, skipped: bool, at: str | None, as_json: bool, **typed: str | None) -> None:
    """Record a feed as given; without --items, the next planned one as planned."""
    if typed.get("items") is None and typed.get("feed") is None:
        with opened() as compose:
            feeds = view_now(compose, slug).progress.feeds
            typed["feed"] = next((one.feed.key for one in feeds if one.state == "ahead"), None)
        if typed["feed"] is None:
            raise InputError("items", "needs what went in: no feed comes next", "nothing")
    _write(slug, "feed", {**typed, "skipped": "yes" if skipped else ""}, at, as_json)


@batch_command.command("event")
@BATCH
@click.argument("what")
@click.option("--temperature", metavar="TEMP", help="Where it was moved to another one.")
@click.option("--litres", metavar="VOLUME", help="What is in the vessel now.")
@AT
@NOTE
@JSON
def event(slug: str, at: str | None, as_json: bool, **typed: str | None) -> None:
    """Record an event: pitched, racked, fruit_in, moved, foamed_over, degassed, ..."""
    _write(slug, "event", typed, at, as_json)


@batch_command.command("note")
@BATCH
@click.argument("text")
@AT
@JSON
def note(slug: str, at: str | None, as_json: bool, **typed: str | None) -> None:
    """Record a few words."""
    _write(slug, "note", typed, at, as_json)


@batch_command.command("photo")
@BATCH
@click.argument("path", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--caption", default="", help="A few words.")
@AT
@JSON
def photo(slug: str, path: Path, caption: str, at: str | None, as_json: bool) -> None:
    """Keep a picture (JPEG, PNG or WebP), made smaller and without metadata."""
    with opened() as compose:
        from mustwright.services.batch.photos import add_photo

        try:
            content = path.read_bytes()
        except OSError as error:
            needs = "needs a file that can be read"
            raise InputError("FILE", needs, f"{path}: {error.strerror}") from None
        moment = moment_of(compose, at)
        entry = add_photo(compose.ledger, slug, content, at=moment, caption=caption)
        told(compose, slug, entry, as_json)


def _write(
    slug: str, kind: str, typed: dict[str, str | None], at: str | None, as_json: bool
) -> None:
    with opened() as compose:
        from mustwright.cellar.log import plan_in_force, standing
        from mustwright.services.batch.fields import what_typed
        from mustwright.services.batch.record import write

        plan = plan_in_force(standing(compose.ledger.log(slug)))
        what = what_typed(kind, typed, plan)
        entry = write(compose.ledger, slug, what, at=moment_of(compose, at))
        told(compose, slug, entry, as_json)


@batch_command.command("correct")
@BATCH
@click.argument("entry_id", metavar="ENTRY")
@click.option("--set", "changes", multiple=True, metavar="FIELD=VALUE", help="A field anew.")
@AT
@click.option("--remove", is_flag=True, help="Let the entry no longer count.")
@click.option("--restore", is_flag=True, help="Let a removed entry count again.")
@JSON
def correct(
    slug: str,
    entry_id: str,
    changes: tuple[str, ...],
    at: str | None,
    remove: bool,
    restore: bool,
    as_json: bool,
) -> None:
    """Correct, remove or restore an entry; what it said before stays in the log."""
    with opened() as compose:
        from mustwright.services.batch import record
        from mustwright.services.batch.fields import retyped

        ledger, now = compose.ledger, compose.clock()
        seen = ledger.batch(slug).version
        if remove and restore:
            raise InputError("--remove", "needs to stand without --restore", "both")
        if remove or restore:
            act = record.remove if remove else record.restore
            entry = act(ledger, slug, entry_id, seen=seen, now=now)
        else:
            stand = record.find(ledger, slug, entry_id)
            what = retyped(stand.what, dict(_pair(one) for one in changes))
            moment = moment_of(compose, at) if at else None
            entry = record.correct(ledger, slug, entry_id, what, at=moment, seen=seen, now=now)
        told(compose, slug, entry, as_json)


def _pair(change: str) -> tuple[str, str]:
    name, equals, value = change.partition("=")
    if not equals:
        raise InputError("--set", "needs FIELD=VALUE, such as gravity=1.062", change)
    return name.strip(), value.strip()


@batch_command.command("undo")
@BATCH
@JSON
def undo(slug: str, as_json: bool) -> None:
    """Take the latest line of the log back; again for the one before."""
    with opened() as compose:
        from mustwright.services.batch import record

        seen = compose.ledger.batch(slug).version
        taken, entry = record.undo(compose.ledger, slug, seen=seen, now=compose.clock())
        if not as_json:
            click.echo(f"Taken back: {taken.what.kind} of {taken.at:%Y-%m-%d %H:%M} UTC.")
        told(compose, slug, entry, as_json)


@batch_command.command("next")
@BATCH
@JSON
def next_command(slug: str, as_json: bool) -> None:
    """The next step, in one sentence."""
    with opened() as compose:
        step = view_now(compose, slug).step
        if as_json:
            from mustwright.cellar.codec import data_of

            print_json({"next": data_of(step)})
            return
        click.echo(step.sentence)
        if step.caution:
            click.echo(f"  ! {step.caution}")


@batch_command.command("watch")
@BATCH
@JSON
def watch(slug: str, as_json: bool) -> None:
    """What the watch sees, why it may be, and how to start a stuck batch again."""
    with opened() as compose:
        view = view_now(compose, slug)
        if as_json:
            from mustwright.services.batch.look import view_data

            data = view_data(view)
            print_json({k: data[k] for k in ("findings", "diagnosis", "restart")})
            return
        from mustwright.cli.batch_words import watch_lines

        for line in watch_lines(view):
            click.echo(line)


@batch_command.command("replan")
@BATCH
@click.option("--adopt", is_flag=True, help="Put the proposed plan in force.")
@JSON
def replan(slug: str, adopt: bool, as_json: bool) -> None:
    """Show the plan that would fit what was read; --adopt puts it in force."""
    with opened() as compose:
        from mustwright.services.batch.look import proposal_data

        view = view_now(compose, slug)
        if as_json and not adopt:
            print_json({"proposal": proposal_data(view.proposal)})
            return
        if not as_json:
            from mustwright.cli.batch_words import proposal_lines

            for line in proposal_lines(view.proposal):
                click.echo(line)
        if adopt:
            from mustwright.services.batch.replan import adopt as put_in_force

            seen = view.record.version
            entry = put_in_force(
                compose.ledger, slug, now=compose.clock(), zone=compose.local_zone, seen=seen
            )
            told(compose, slug, entry, as_json)


@batch_command.command("import")
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
    """Take in a batch (.json), or readings and the like from a CSV file, all or nothing."""
    from mustwright.cli.batch_files import import_csv_file, import_json_file

    with opened() as compose:
        if into is None:
            import_json_file(compose, file, as_json)
        else:
            import_csv_file(compose, file, into, columns, only_look, as_json)


@batch_command.command("export")
@BATCH
@click.option("--csv", "as_csv", is_flag=True, help="Readings, feeds, events, notes as CSV.")
def export(slug: str, as_csv: bool) -> None:
    """Print the whole batch as JSON, or its log as CSV."""
    with opened() as compose:
        if as_csv:
            from mustwright.services.batch.table import export_csv

            click.echo(export_csv(view_now(compose, slug).stands), nl=False)
            return
        from mustwright.services.batch.whole import export_json

        click.echo(export_json(compose.ledger, slug))


@batch_command.command("calendar")
@BATCH
def calendar(slug: str) -> None:
    """Print feeds and checks as an iCalendar file."""
    with opened() as compose:
        from mustwright.services.batch.calendar import calendar_text

        view = view_now(compose, slug)
        click.echo(calendar_text([view], view.record.name).decode(), nl=False)


@batch_command.command("token")
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
            click.echo(line)
