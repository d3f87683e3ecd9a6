"""The lot code on a bottle traced back to its batch, from the command line."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from mustwright.cli.batch_context import JSON, opened
from mustwright.cli.sheets import print_json
from mustwright.cli.speech import echo
from mustwright.cli.spoken_help import command
from mustwright.cli.units import UNITS
from mustwright.texts import say

if TYPE_CHECKING:
    from datetime import tzinfo

    from mustwright.services.batch.lots import LotTrace


@command("lot")
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
                echo(line)


def _lines(one: LotTrace, zone: tzinfo) -> Iterator[str]:
    from mustwright.services.batch.lots import DELETED

    yield say(
        "{code}: {batch} ({slug}), bottled {at:%Y-%m-%d}",
        code=one.code,
        batch=one.name,
        slug=one.slug,
        at=one.bottled.astimezone(zone),
    )
    if one.deleted:
        yield say("  ! {words}", words=DELETED)
    if one.removed:
        yield say("  ! This bottling was taken out of the log.")
    yield say("  {bottles}", bottles=one.bottles)
    yield say(
        "  alcohol {alcohol}; {sulfite}",
        alcohol=one.alcohol_words,
        sulfite=one.sulfite_words,
    )
    yield say("Went in")
    for part in one.parts:
        day = say("must") if part.at is None else say("{at:%Y-%m-%d}", at=part.at.astimezone(zone))
        yield say(
            "  {day:<10}  {what}{facts}",
            day=day,
            what=part.words,
            facts=f" ({part.facts})" if part.facts else "",
        )
    yield say("The label said")
    yield from (say("  {label}", label=label.words) for label in one.said)
    if one.differs:
        yield say("From the log as it is now, the label would say")
        yield from (say("  {label}", label=label.words) for label in one.would_say)
        if one.refused:
            yield say("  nothing: {why}", why=one.refused)
    if one.corrected:
        yield say("Changed in the log since")
        yield from (say("  {line}", line=line) for line in one.corrected)
