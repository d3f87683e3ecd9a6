"""The `protocols` command: list, show, check and keep feeding protocols."""

from __future__ import annotations

import click

from mustwright.cli.sheets import cellar_protocols, cellar_texts, file_text, print_json
from mustwright.cli.speech import echo
from mustwright.cli.spoken_help import group
from mustwright.texts import say


@group("protocols", invoke_without_command=True)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_context
def protocols_command(ctx: click.Context, as_json: bool) -> None:
    """List the feeding protocols; see the commands for more."""
    if ctx.invoked_subcommand is not None:
        return
    from mustwright.nutrition.protocols import built_in_protocols

    everything = {**built_in_protocols(), **cellar_protocols()}
    if as_json:
        print_json(
            {
                "protocols": [
                    {
                        "id": p.id,
                        "name": p.name,
                        "account": p.account,
                        "assumes": list(p.assumes),
                        "source": p.source,
                        "built_in": p.built_in,
                    }
                    for p in everything.values()
                ]
            }
        )
        return
    for protocol in everything.values():
        own = "" if protocol.built_in else say(" (your own)")
        echo(
            say(
                "{id}{own}\n    {name}. {account}",
                id=protocol.id,
                own=own,
                name=protocol.name,
                account=protocol.account,
            )
        )


@protocols_command.command("show")
@click.argument("identity", metavar="ID")
def show(identity: str) -> None:
    """Print the file of a protocol, to be copied and changed."""
    from mustwright.services.own_protocols import protocol_text

    echo(protocol_text(identity, cellar_texts()))


@protocols_command.command("check")
@click.argument("file", metavar="FILE")
def check(file: str) -> None:
    """Say whether a protocol file can be used."""
    from mustwright.nutrition.protocols import read_protocol

    protocol = read_protocol(file_text(file, "FILE"))
    echo(say("{id}: can be used ({count} feeds)", id=protocol.id, count=len(protocol.feeds)))


@protocols_command.command("keep")
@click.argument("file", metavar="FILE")
def keep(file: str) -> None:
    """Keep a protocol file in your cellar, under its id."""
    from mustwright.compose import Compose
    from mustwright.services.own_protocols import keep_protocol

    compose = Compose.from_environment()
    try:
        kept = keep_protocol(compose.cellar, file_text(file, "FILE"))
    finally:
        compose.close()
    echo(say("{key}: kept", key=kept.key))
