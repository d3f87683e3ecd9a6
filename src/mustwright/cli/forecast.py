"""The `forecast` command: what a must will do, as bands."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from mustwright.cli.sheets import (
    HOUSE,
    chosen_protocols,
    file_text,
    own_house,
    print_json,
    say_when_compiling,
    spoken_sheet,
)
from mustwright.cli.units import UNITS
from mustwright.errors import InputError
from mustwright.kinetics.ensemble_setting import MEMBERS, SEED

if TYPE_CHECKING:
    from mustwright.kinetics.bands import Band
    from mustwright.kinetics.forecast import Forecast
    from mustwright.planning.forecast import ForecastResult

SHOWN_DAYS = (0, 1, 2, 3, 4, 5, 7, 10, 14, 21, 28, 42)


@click.command("forecast")
@click.argument("file", metavar="FILE")
@click.option("--protocol", metavar="ID", help="Id of a protocol, a protocol file, or 'none'.")
@click.option("--readings", metavar="CSV", help="Readings so far, to fit the forecast to.")
@click.option("--at", metavar="HOURS", help="Hours after pitch, as 16,64,112.")
@click.option(
    "--members",
    type=int,
    help=f"Number of simulated runs; {MEMBERS} if not given, as on the pages.",
)
@click.option(
    "--seed",
    type=int,
    default=SEED,
    show_default=True,
    help="Random seed: the same seed gives the same answer.",
)
@click.option("--no-ph", is_flag=True, help="Leave out the pH.")
@HOUSE
@UNITS
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def forecast_command(
    file: str,
    protocol: str | None,
    readings: str | None,
    at: str | None,
    members: int | None,
    seed: int,
    no_ph: bool,
    house: bool,
    as_json: bool,
) -> None:
    """Forecast the must in FILE."""
    text, name = spoken_sheet(file)
    csv = file_text(readings, "--readings") if readings else None
    hours = _hours(at) if at else None
    none = protocol == "none"
    ids, own = chosen_protocols((protocol,) if protocol and not none else ())
    say_when_compiling()
    from mustwright.planning.forecast import forecast, forecast_data

    chosen = "none" if none else (ids[0] if ids else None)
    result = forecast(
        text, chosen, own, readings=csv, at_h=hours, members=members, seed=seed, name=name,
        with_ph=not no_ph, house=own_house() if house else None,
    )  # fmt: skip
    if as_json:
        print_json(forecast_data(result))
        return
    for line in forecast_lines(result):
        click.echo(line)


def _hours(text: str) -> list[float]:
    try:
        return [float(part) for part in text.split(",") if part.strip()]
    except ValueError:
        raise InputError("--at", "needs hours such as 16,64,112", text) from None


def forecast_lines(result: ForecastResult) -> list[str]:
    """The forecast as text."""
    from mustwright.planning.likeness import HOUSE_NOTE

    run = result.forecast
    fed = result.plan.protocol_name if result.plan else "no feed at all"
    lines = [f"{result.name}: {fed}", ""]
    lines.append(f"{'day':>5s}  {'gravity: half the runs':>24s}  {'nine in ten':>16s}  sugar g/L")
    shown = set(run.times_h) if len(run.times_h) <= 20 else {24.0 * d for d in SHOWN_DAYS}
    for k, t in enumerate(run.times_h):
        if t in shown:
            g = run.gravity
            lines.append(
                f"{t / 24:5.1f}  {g.p25[k]:10.3f} {g.p50[k]:.3f} {g.p75[k]:.3f}   "
                f"{g.p05[k]:8.3f} {g.p95[k]:.3f}  {run.sugar_g_l.p50[k]:8.0f}"
            )
    lines += ["", f"Dry: {_days(run.hours_to_dry)}",
              f"Chance of stopping short: {run.chance_of_sticking:.0%}, of it "
              f"{run.chance_not_modelled:.0%} for reasons the model does not cover",
              *_sweet(run),
              f"Most gas: {run.peak_gas_l_h.p50:.3g} L/h "
              f"({run.peak_gas_l_h.p05:.3g} to {run.peak_gas_l_h.p95:.3g})",
              f"Nitrogen left: {run.residual_yan_mg_l.p50:.0f} mg N/L "
              f"({run.residual_yan_mg_l.p05:.0f} to {run.residual_yan_mg_l.p95:.0f})"]  # fmt: skip
    if result.plan:
        for feed, outcome in zip(result.plan.feeds, run.feeds, strict=True):
            lines.append(f"  {feed.name}: {_days(outcome.expected_h)}")
    if result.with_ph:
        lines += ["", *ph_lines(result)]
    if run.verdict:
        lines += ["", run.verdict.message]
    if result.ground.house is not None:
        lines += ["", f"{HOUSE_NOTE} --no-house leaves them out."]
    lines += ["", *(f"  - {warning}" for warning in result.warnings)]
    return lines


def _sweet(run: Forecast) -> list[str]:
    if run.chance_of_stopping_sweet < 0.005:
        return []
    return [f"Stops sweet at its yeast's limit: {run.chance_of_stopping_sweet:.0%}"]


def ph_lines(result: ForecastResult) -> list[str]:
    """The acid of a forecast as text; its odds on a line of their own."""
    from mustwright.planning.acidity.ph_course_json import ph_data

    told: Any = ph_data(
        result.ph, result.forecast.times_h, result.forecast.chance_of_sticking,
        result.odds_by_acid,
    )  # fmt: skip
    if told["ph"] is None:
        return [told["ph_note"]]
    trough, beside = told["ph_trough"], told["sticking_by_acid"]
    odds, chance = beside["odds_factor"], beside["chance_of_sticking"]
    when = trough["expected_h"]
    return [
        f"pH: lowest {trough['words']}, reached by day {when['p50'] / 24:.1f} "
        f"({when['p05'] / 24:.1f} to {when['p95'] / 24:.1f}); crash risk {trough['risk']}: "
        f"{trough['chance_below_floor']:.0%} under {trough['floor']:g}, "
        f"{trough['below_2_9']:.0%} below 2.9",
        f"  {told['ph_note']}",
        f"  Potassium and low pH raise the odds of stopping {odds['p50']:.2g} times, within the "
        f"{chance['p50']:.0%}",
    ]


def _days(band: Band) -> str:
    def one(hours: float) -> str:
        return f"day {hours / 24:.1f}" if hours < 1e6 else "never"

    return f"{one(band.p50)} ({one(band.p05)} to {one(band.p95)})"
