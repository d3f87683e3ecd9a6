"""The `house` command: what your finished batches taught, and what is to be forgotten."""

from __future__ import annotations

import click

from mustwright.cli.batch_context import JSON, opened
from mustwright.cli.sheets import print_json, say_when_compiling
from mustwright.cli.speech import echo
from mustwright.cli.spoken_help import group
from mustwright.errors import InputError
from mustwright.texts import say


@group("house")
def house_command() -> None:
    """Your house: how your ferments differ from others', learned from finished batches."""


@house_command.command("show")
@JSON
def show(as_json: bool) -> None:
    """Say what was learned from which batches, and how sure that is."""
    say_when_compiling()
    with opened() as compose:
        from mustwright.services.house import house_view
        from mustwright.services.house_report import house_data, house_lines

        view = house_view(compose.ledger, compose.notebook, compose.clock(), learn=True)
        if as_json:
            print_json(house_data(view))
            return
        for line in house_lines(view):
            echo(line)


@house_command.command("forget")
@click.argument("slug", metavar="BATCH", required=False)
@click.option("--all", "everything", is_flag=True, help="All finished batches.")
@click.option("--undo", is_flag=True, help="Learn from it again.")
@JSON
def forget(slug: str | None, everything: bool, undo: bool, as_json: bool) -> None:
    """Leave BATCH out of what was learned; the batch itself does not change."""
    if (slug is None) != everything:
        raise InputError(
            "BATCH", say("needs the name of one batch, or --all"), slug or say("nothing")
        )
    with opened() as compose:
        from mustwright.services import house as use

        if undo:
            done = use.remember(compose.notebook, slug)
        else:
            done = use.forget(compose.ledger, compose.notebook, slug)
        if as_json:
            print_json({"remembered" if undo else "forgotten": done})
            return
        batches = ", ".join(done) or say("No batch")
        echo(
            say("{batches}: learned from again.", batches=batches)
            if undo
            else say("{batches}: forgotten.", batches=batches)
        )
