"""`convert`: one value in another unit, or what an instrument really says."""

from __future__ import annotations

import json

import click

from mustwright.cli.figure_text import working_lines
from mustwright.cli.speech import echo, looked_up
from mustwright.cli.spoken_help import SpokenCommand
from mustwright.figure import Figure
from mustwright.plain_data import answer_data, fields_of
from mustwright.planning.convert import INSTRUMENTS, Conversion, convert
from mustwright.texts import say
from mustwright.units import plainly_typed

_DECIMALS = {"SG": 4, "nD": 5, "Brix": 2, "Plato": 2, "Baume": 2, "Oechsle": 1, "KMW": 2,
             "% vol": 2, "g/L sugar": 1, "% water": 2}  # fmt: skip


@click.command(
    "convert",
    cls=SpokenCommand,
    # No short options: a value such as "-1.2 Oechsle" must not be read as a bundle of them.
    context_settings={"ignore_unknown_options": True, "help_option_names": ["--help"]},
)
@click.argument("value", nargs=-1, required=True, type=click.UNPROCESSED)
@click.option("--to", "to", required=True, metavar="UNIT", help="Unit wanted, or 'moisture'.")
@click.option("--at", "temperature", metavar="TEMPERATURE", help="Of the liquid while reading.")
@click.option(
    "--calibrated", metavar="TEMPERATURE", help="Marked on the hydrometer; 20 C if not given."
)
@click.option(
    "--instrument",
    metavar="KIND",
    help=looked_up(say("One of {kinds}.", kinds=", ".join(INSTRUMENTS))),
)
@click.option("--original", metavar="VALUE", help="Gravity before fermentation.")
@click.option("--explain", is_flag=True, help="Show how the figure was worked out.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(
    value: tuple[str, ...],
    to: str,
    temperature: str | None,
    calibrated: str | None,
    instrument: str | None,
    original: str | None,
    explain: bool,
    as_json: bool,
) -> None:
    """Show VALUE in another unit.

    \b
    convert 24 Bx --to SG
    convert 1.098 --to SG --at 28C --calibrated 60F
    convert 12 Bx --to SG --instrument refractometer --original 24Bx
    convert 1.4915 nD --to moisture
    """
    for word in value:
        if word.startswith("--"):
            raise click.NoSuchOption(word)
    answer = convert(
        plainly_typed(" ".join(value)),
        to,
        temperature=_plain(temperature),
        calibration=_plain(calibrated),
        original=_plain(original),
        instrument=instrument,
    )
    if as_json:
        click.echo(json.dumps(as_plain(answer), ensure_ascii=False, indent=2))
        return
    echo(shown(answer.value))
    if explain:
        for line in working_lines({"value": answer.value, **answer.alternatives}):
            echo(line)
    for note in answer.warnings:
        echo(say("note: {note}", note=note), err=True)


def _plain(typed: str | None) -> str | None:
    return None if typed is None else plainly_typed(typed)


def as_plain(answer: Conversion) -> dict[str, object]:
    """The conversion as plain data: values, and under ``working`` how each came about."""
    ends = {"low": answer.value.low, "high": answer.value.high}
    return answer_data(fields_of(answer, **ends), explain=True, whole=True)


def shown(figure: Figure) -> str:
    """One figure with its unit and, where it has one, its range."""
    places = _DECIMALS.get(figure.unit)

    def text(number: float) -> str:
        return (
            say("{number:.6g}", number=number)
            if places is None
            else say("{number:.{places}f}", number=number, places=places)
        )

    spread = ""
    if figure.low is not None and figure.high is not None:
        spread = say(" ({low} to {high})", low=text(figure.low), high=text(figure.high))
    return say("{value} {unit}{spread}", value=text(figure.value), unit=figure.unit, spread=spread)
