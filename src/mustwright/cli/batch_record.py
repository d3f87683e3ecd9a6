"""`batch read`, `feed`, `event`, `note`, `photo`, `correct`, `undo`: what goes into the log."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from mustwright.cli.batch_context import AT, BATCH, JSON, NOTE, moment_of, opened, told, view_now
from mustwright.cli.speech import echo
from mustwright.cli.spoken_help import command
from mustwright.cli.units import UNITS
from mustwright.errors import InputError
from mustwright.texts import say

if TYPE_CHECKING:
    from mustwright.batch.plan import BatchPlan

TEMPERATURES = ("temperature", "sample", "calibration")
_KINDS = {
    "reading": say("reading"), "feed": say("feed"), "event": say("event"), "note": say("note"),
    "photo": say("photo"), "plan": say("plan"), "finish": say("finish", context="entry"),
    "correction": say("correction"), "removal": say("removal"),
    "restoration": say("restoration"),
}  # fmt: skip
AMOUNTS = (*TEMPERATURES, "gravity", "brix", "ph", "litres", "items")


@command("read")
@BATCH
@click.argument("gravity", required=False)
@click.option("--instrument", help="hydrometer (usual), refractometer or sensor.")
@click.option("--calibration", metavar="TEMP", help="Marked on the instrument; usual 20 C.")
@click.option("--sample", metavar="TEMP", help="Temperature of the liquid read.")
@click.option("--temperature", metavar="TEMP", help="Temperature of the must.")
@click.option("--ph", help="pH.")
@click.option("--ph-by", help="What it was read with: meter (usual) or strip.")
@AT
@NOTE
@UNITS
@JSON
def read(slug: str, at: str | None, as_json: bool, **typed: str | None) -> None:
    """Record a reading: GRAVITY as read (1.062 or '15 Bx'), temperature, pH."""
    _write(slug, "reading", typed, at, as_json)


@command("feed")
@BATCH
@click.option("--items", help="What went in: 'dap=4.2 g, autolysed_yeast=3 g'.")
@click.option("--feed", metavar="KEY", help="Key of the planned feed (f1, f2, ...).")
@click.option("--skipped", is_flag=True, help="This feed was skipped.")
@AT
@NOTE
@UNITS
@JSON
def feed(slug: str, skipped: bool, at: str | None, as_json: bool, **typed: str | None) -> None:
    """Record a feed as given; without --items, the next planned one as planned."""
    if typed.get("items") is None and typed.get("feed") is None:
        with opened() as compose:
            feeds = view_now(compose, slug).progress.feeds
            typed["feed"] = next((one.feed.key for one in feeds if one.state == "ahead"), None)
        if typed["feed"] is None:
            raise InputError("items", say("needs what went in: no feed comes next"), say("nothing"))
    _write(slug, "feed", {**typed, "skipped": "yes" if skipped else ""}, at, as_json)


@command("event")
@BATCH
@click.argument("what")
@click.option("--temperature", metavar="TEMP", help="The new temperature, if it was moved.")
@click.option(
    "--litres", metavar="VOLUME", help="In the vessel afterwards; for a sample, the amount drawn."
)
@AT
@NOTE
@UNITS
@JSON
def event(slug: str, at: str | None, as_json: bool, **typed: str | None) -> None:
    """Record an event: pitched, racked, fruit_in, moved, foamed_over, degassed, ..."""
    _write(slug, "event", typed, at, as_json)


@command("note")
@BATCH
@click.argument("text")
@AT
@UNITS
@JSON
def note(slug: str, at: str | None, as_json: bool, **typed: str | None) -> None:
    """Record a note."""
    _write(slug, "note", typed, at, as_json)


@command("photo")
@BATCH
@click.argument("path", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--caption", default="", help="What it shows.")
@AT
@UNITS
@JSON
def photo(slug: str, path: Path, caption: str, at: str | None, as_json: bool) -> None:
    """Keep a picture (JPEG, PNG or WebP), made smaller and without metadata."""
    with opened() as compose:
        from mustwright.services.batch.photos import add_photo

        try:
            content = path.read_bytes()
        except OSError as error:
            needs = say("needs a file that can be read")
            raise InputError("FILE", needs, f"{path}: {error.strerror}") from None
        moment = moment_of(compose, at)
        entry = add_photo(compose.ledger, slug, content, at=moment, caption=caption)
        told(compose, slug, entry, as_json)


def _with_degrees(typed: Mapping[str, str | None], plan: BatchPlan | None) -> dict[str, str | None]:
    """Amounts with a point; temperatures without a unit, as everywhere, in that of the batch."""
    from mustwright.unit_hints import with_unit
    from mustwright.units import plainly_typed

    sheet = "" if plan is None else plan.sheet
    typed = {
        name: plainly_typed(text) if text and name in AMOUNTS else text
        for name, text in typed.items()
    }
    return {
        name: with_unit(text, "temperature", sheet) if text and name in TEMPERATURES else text
        for name, text in typed.items()
    }


def _write(
    slug: str, kind: str, typed: dict[str, str | None], at: str | None, as_json: bool
) -> None:
    with opened() as compose:
        from mustwright.batch.entry_fields import what_typed
        from mustwright.batch.log import plan_in_force, standing
        from mustwright.services.batch.record import write

        plan = plan_in_force(standing(compose.ledger.log(slug)))
        what = what_typed(kind, _with_degrees(typed, plan), plan)
        entry = write(compose.ledger, slug, what, at=moment_of(compose, at))
        told(compose, slug, entry, as_json)


@command("correct")
@BATCH
@click.argument("entry_id", metavar="ENTRY")
@click.option(
    "--set", "changes", multiple=True, metavar="FIELD=VALUE", help="New value of a field."
)
@AT
@click.option("--remove", is_flag=True, help="Remove the entry.")
@click.option("--restore", is_flag=True, help="Restore a removed entry.")
@UNITS
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
    """Correct, remove or restore an entry. The log keeps what it said before."""
    with opened() as compose:
        from mustwright.batch.entry_fields import retyped
        from mustwright.batch.log import plan_in_force, standing
        from mustwright.services.batch import record

        ledger, now = compose.ledger, compose.clock()
        seen = ledger.batch(slug).version
        if remove and restore:
            raise InputError("--remove", say("needs to stand without --restore"), say("both"))
        if remove or restore:
            act = record.remove if remove else record.restore
            entry = act(ledger, slug, entry_id, seen=seen, now=now)
        else:
            stand = record.find(ledger, slug, entry_id)
            typed = _with_degrees(
                dict(_pair(one) for one in changes), plan_in_force(standing(ledger.log(slug)))
            )
            what = retyped(stand.what, typed)
            moment = moment_of(compose, at) if at else None
            entry = record.correct(ledger, slug, entry_id, what, at=moment, seen=seen, now=now)
        told(compose, slug, entry, as_json)


def _pair(change: str) -> tuple[str, str]:
    name, equals, value = change.partition("=")
    if not equals:
        raise InputError("--set", say("needs FIELD=VALUE, such as gravity=1.062"), change)
    return name.strip(), value.strip()


@command("undo")
@BATCH
@UNITS
@JSON
def undo(slug: str, as_json: bool) -> None:
    """Undo the latest line of the log; repeat for the one before."""
    with opened() as compose:
        from mustwright.services.batch import record

        seen = compose.ledger.batch(slug).version
        taken, entry = record.undo(compose.ledger, slug, seen=seen, now=compose.clock())
        if not as_json:
            echo(
                say(
                    "Taken back: {entry} of {at:%Y-%m-%d %H:%M} UTC.",
                    entry=_KINDS.get(taken.what.kind, taken.what.kind),
                    at=taken.at,
                )
            )
        told(compose, slug, entry, as_json)


RECORD_COMMANDS = (read, feed, event, note, photo, correct, undo)
