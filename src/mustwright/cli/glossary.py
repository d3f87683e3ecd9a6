"""The `glossary` command: what a word of the trade means."""

from __future__ import annotations

import textwrap
from contextlib import nullcontext

import click

from mustwright.cli.sheets import print_json
from mustwright.cli.speech import echo
from mustwright.cli.spoken_help import command
from mustwright.languages import here, speaking
from mustwright.texts import join


@command("glossary")
@click.argument("term", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def glossary_command(term: str | None, as_json: bool) -> None:
    """Explain TERM, a word of the trade such as YAN or racking; without one, explain them all."""
    from mustwright.data.glossary import explained, glossary

    with speaking(None) if as_json else nullcontext():  # a language has entries of its own
        entries = list(glossary().values()) if term is None else [explained(term)]
    if as_json:
        keys = ("id", "term", "also", "says", "source")
        print_json({"glossary": [{key: getattr(one, key) for key in keys} for one in entries]})
        return
    for one in entries:
        also = f" ({here(join(', ', one.also))})" if one.also else ""
        echo(f"{here(one.term)}{also}")
        echo(textwrap.fill(here(one.says), 90, initial_indent="  ", subsequent_indent="  "))
