"""The `kinds` command: the names a must sheet and a protocol may use."""

from __future__ import annotations

from collections.abc import Callable

import click

from mustwright.cli.sheets import print_json

Rows = list[tuple[str, str]]


@click.command("kinds")
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
        click.echo(name)
        for identity, said in rows:
            click.echo(f"  {identity:34s} {said}")


def _ingredients() -> Rows:
    from mustwright.must.ingredient import all_ingredients

    return [(i.id, f"{i.name} ({i.form})") for i in all_ingredients().values()]


def _yeasts() -> Rows:
    from mustwright.yeast.pitch import strains

    return [(s.id, s.name) for s in strains().values()]


def _nutrients() -> Rows:
    from mustwright.nutrition.shelf import generic_nutrients

    return [(n.id, f"{n.name} ({n.group})") for n in generic_nutrients().values()]


def _laws() -> Rows:
    from mustwright.nutrition.limits import legal_profiles

    return [(p.id, f"{p.name}: {p.edition}") for p in legal_profiles().values()]


def _demands() -> Rows:
    from mustwright.nutrition.demand import demand_rules

    return [(r.id, f"{r.name}: {r.account}") for r in demand_rules().values()]


_LISTS: dict[str, Callable[[], Rows]] = {
    "ingredients": _ingredients,
    "yeasts": _yeasts,
    "nutrients": _nutrients,
    "laws": _laws,
    "demands": _demands,
}
