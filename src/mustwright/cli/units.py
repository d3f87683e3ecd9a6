"""The option that every command with amounts has: in which units it says them."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from mustwright.unit_system import UnitSystem

NAMES = ("metric", "us", "imperial")


def _cellar_units() -> UnitSystem | None:
    """What is chosen for the maker's cellar; nothing is opened if there is none yet."""
    from mustwright.compose import Compose, data_folder, database_address
    from mustwright.errors import MustwrightError
    from mustwright.services.units import chosen_for

    if not (database_address() or (data_folder() / "cellar.db").exists()):
        return None
    compose = Compose.from_environment()
    try:
        return chosen_for(compose.ledger)
    except MustwrightError:  # a cellar that is away: the command itself says so where it matters
        return None
    finally:
        compose.close()


def _chosen(ctx: click.Context, _parameter: click.Parameter, name: str | None) -> None:
    from mustwright.unit_system import NAMED, choosing

    ctx.with_resource(choosing(cache(_cellar_units) if name is None else NAMED[name]))


UNITS = click.option(
    "--units",
    type=click.Choice(NAMES),
    callback=_chosen,
    expose_value=False,
    help="Units of amounts; else those chosen for the cellar, else those of the must.",
)


def units_option() -> click.Option:
    """The same for a command that is built of options."""
    return click.Option(
        ["--units"],
        type=click.Choice(NAMES),
        callback=_chosen,
        expose_value=False,
        help="Units of amounts; else those chosen for the cellar, else those of the batch.",
    )
