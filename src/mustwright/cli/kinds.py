"""The `kinds` command: the names a must sheet and a protocol may use."""

from __future__ import annotations

from collections.abc import Callable

import click

from mustwright.cli.sheets import print_json
from mustwright.cli.speech import echo
from mustwright.cli.spoken_help import command
from mustwright.texts import say

Rows = list[tuple[str, str]]


@command("kinds")
@click.argument(
    "what",
    type=click.Choice(["ingredients", "yeasts", "nutrients", "laws", "demands"]),
    required=False,
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def kinds_command(what: str | None, as_json: bool) -> None:
    """List the names a sheet may use: ingredients, yeasts, nutrients, laws, demands."""
    lists = {name: read() for name, read in _LISTS.items() if what in (None, name)}
    if as_json:
        print_json({name: [{"id": i, "name": n} for i, n in rows] for name, rows in lists.items()})
        return
    for name, rows in lists.items():
        echo(_HEADS[name])
        for identity, said in rows:
            echo(say("  {identity:34s} {said}", identity=identity, said=said))


def _ingredients() -> Rows:
    from mustwright.must.ingredient import all_ingredients

    return [
        (i.id, say("{name} ({form})", name=i.name, form=i.form)) for i in all_ingredients().values()
    ]


def _yeasts() -> Rows:
    from mustwright.yeast.pitch import strains

    return [(s.id, s.name) for s in strains().values()]


def _nutrients() -> Rows:
    from mustwright.nutrition.shelf import generic_nutrients

    return [
        (n.id, say("{name} ({group})", name=n.name, group=n.group))
        for n in generic_nutrients().values()
    ]


def _laws() -> Rows:
    from mustwright.nutrition.limits import legal_profiles

    return [
        (p.id, say("{name}: {edition}", name=p.name, edition=p.edition))
        for p in legal_profiles().values()
    ]


def _demands() -> Rows:
    from mustwright.nutrition.demand import demand_rules

    return [
        (r.id, say("{name}: {account}", name=r.name, account=r.account))
        for r in demand_rules().values()
    ]


_HEADS = {
    "ingredients": say("ingredients"),
    "yeasts": say("yeasts"),
    "nutrients": say("nutrients"),
    "laws": say("laws"),
    "demands": say("demands"),
}
_LISTS: dict[str, Callable[[], Rows]] = {
    "ingredients": _ingredients,
    "yeasts": _yeasts,
    "nutrients": _nutrients,
    "laws": _laws,
    "demands": _demands,
}
