"""The option that every command with amounts has: in which units it says them."""

from __future__ import annotations

import os
from functools import cache
from typing import TYPE_CHECKING

import click

from mustwright.cli.language import Decorated, in_a_language
from mustwright.cli.speech import looked_up
from mustwright.texts import say

if TYPE_CHECKING:
    from mustwright.unit_system import UnitSystem

SYSTEMS = ("metric", "us", "imperial")
SCALES = ("Brix", "Plato")
NAMES = (*SYSTEMS, *(f"{name}/{scale}" for name in SYSTEMS for scale in SCALES))
OWN_UNITS = "MUSTWRIGHT_UNITS"


def _usual_units() -> UnitSystem | None:
    """What MUSTWRIGHT_UNITS says for this person, else what is chosen for the cellar."""
    from mustwright.errors import InputError
    from mustwright.unit_system import system_called

    own = os.environ.get(OWN_UNITS, "").strip()
    if not own:
        return _cellar_units()
    try:
        return None if own == "typed" else system_called(own)
    except InputError:
        raise InputError(
            OWN_UNITS, say("needs one of {systems}, typed", systems=", ".join(SYSTEMS)), own
        ) from None


def _cellar_units() -> UnitSystem | None:
    """What is chosen for the maker's cellar."""
    from mustwright.compose import Compose

    return Compose.from_environment().units_alone()


def _chosen(ctx: click.Context, _parameter: click.Parameter, name: str | None) -> None:
    from mustwright.unit_system import choosing, system_called

    ctx.with_resource(choosing(cache(_usual_units) if name is None else system_called(name)))


HELP = say("Units: metric, us or imperial; or us/Brix, us/Plato for gravities too")
_UNITS = click.option(
    "--units",
    type=click.Choice(NAMES, case_sensitive=False),
    metavar="NAME",
    callback=_chosen,
    expose_value=False,
    help=looked_up(
        say(
            "{units}; else {variable}, else those of the cellar, else of the must.",
            units=HELP,
            variable=OWN_UNITS,
        )
    ),
)


def UNITS(command: Decorated) -> Decorated:  # noqa: N802
    """The options of a command with amounts: in which units and in which language it says them."""
    return _UNITS(in_a_language(command))


def units_option() -> click.Option:
    """The same for a command that is built of options."""
    return click.Option(
        ["--units"],
        type=click.Choice(NAMES, case_sensitive=False),
        metavar="NAME",
        callback=_chosen,
        expose_value=False,
        help=looked_up(
            say(
                "{units}; else {variable}, else those of the cellar, else of the batch.",
                units=HELP,
                variable=OWN_UNITS,
            )
        ),
    )
