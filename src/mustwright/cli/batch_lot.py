"""The lot code on a bottle traced back to its batch, from the command line."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from mustwright.cli.batch_context import JSON, opened
from mustwright.cli.sheets import print_json
from mustwright.cli.units import UNITS

if TYPE_CHECKING:
    from datetime import tzinfo

    from mustwright.services.batch.lots import LotTrace


@click.command("lot")
@click.argument("code", metavar="CODE")
@UNITS
@JSON
def lot_command(code: str, as_json: bool) -> None:
    """What is in the bottle with this lot CODE: batch, what went in, alcohol, sulfite, label."""
    with opened() as compose:
        from mustwright.plain_data import data_of
        from mustwright.services.batch.lots import trace

        found = trace(compose.ledger, code, compose.local_zone)
        if as_json:
            print_json({"lots": [{**data_of(o), "differs": o.differs} for o in found]})
            return
        for one in found:
            for line in _lines(one, compose.local_zone):
                click.echo(line)


def _lines(one: LotTrace, zone: tzinfo) -> Iterator[str]:
    from mustwright.services.batch.lots import DELETED

    yield f"{one.code}: {one.name} ({one.slug}), bottled {one.bottled.astimezone(zone):%Y-%m-%d}"
    if one.deleted:
        yield f"  ! {DELETED}"
    if one.removed:
        yield "  ! This bottling was taken out of the log."
    yield f"  {one.bottles}"
    yield f"  alcohol {one.alcohol_words}; {one.sulfite_words}"
    yield "Went in"
    for part in one.parts:
        day = "must" if part.at is None else f"{part.at.astimezone(zone):%Y-%m-%d}"
        yield f"  {day:<10}  {part.words}{f' ({part.facts})' if part.facts else ''}"
    yield "The label said"
    yield from (f"  {label.words}" for label in one.said)
    if one.differs:
        yield "From the log as it is now, the label would say"
        yield from (f"  {label.words}" for label in one.would_say)
        if one.refused:
            yield f"  nothing: {one.refused}"
    if one.corrected:
        yield "Changed in the log since"
        yield from (f"  {line}" for line in one.corrected)
