"""`batch compare`: two batches side by side, each difference run alone."""

from __future__ import annotations

import click

from mustwright.cli.batch_context import JSON, opened
from mustwright.cli.sheets import print_json, say_when_compiling
from mustwright.cli.speech import echo
from mustwright.cli.spoken_help import command
from mustwright.cli.units import UNITS
from mustwright.texts import say


@command("compare")
@click.argument("a", metavar="A")
@click.argument("b", metavar="B")
@UNITS
@JSON
def compare(a: str, b: str, as_json: bool) -> None:
    """Say in what batches A and B differ, and what each difference would do alone."""
    say_when_compiling()
    with opened() as compose:
        from mustwright.learning.differences import NOT_MODELLED, comparison_sentences
        from mustwright.services.compare_batches import beside, comparison_data

        one, other, found = beside(compose.ledger, a, b, compose.clock())
        if as_json:
            print_json(comparison_data(one, other, found))
            return
        for d in found.differences:
            alone = (
                NOT_MODELLED
                if d.effect is None
                else say("{effect:+.1f} days (+- {error:.1f})", effect=d.effect, error=d.error)
            )
            echo(say("  {what}: {a} | {b}  ->  {alone}", what=d.what, a=d.a, b=d.b, alone=alone))
        for line in comparison_sentences(found, one.name, other.name):
            echo(line)
