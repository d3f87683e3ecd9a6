"""The `forecast` command: what a must will do, as bands."""

from __future__ import annotations

import math
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
from mustwright.cli.speech import echo, looked_up
from mustwright.cli.spoken_help import command
from mustwright.cli.units import UNITS
from mustwright.errors import InputError
from mustwright.kinetics.ensemble_setting import MEMBERS, SEED
from mustwright.must.acidity.claims import lowest_shown
from mustwright.planning.days_text import days_number, days_range
from mustwright.texts import literal, say

if TYPE_CHECKING:
    from mustwright.kinetics.bands import Band
    from mustwright.kinetics.forecast import Forecast
    from mustwright.planning.forecast import ForecastResult

SHOWN_DAYS = (0, 1, 2, 3, 4, 5, 7, 10, 14, 21, 28, 42)


@command("forecast")
@click.argument("file", metavar="FILE")
@click.option("--protocol", metavar="ID", help="Id of a protocol, a protocol file, or 'none'.")
@click.option("--readings", metavar="CSV", help="Readings so far, to fit the forecast to.")
@click.option("--at", metavar="HOURS", help="Hours after pitch, as 16,64,112.")
@click.option(
    "--members",
    type=int,
    help=looked_up(
        say("Number of simulated runs; {members} if not given, as on the pages.", members=MEMBERS)
    ),
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
        echo(line)


def _hours(text: str) -> list[float]:
    try:
        return [float(part) for part in text.split(",") if part.strip()]
    except ValueError:
        raise InputError("--at", say("needs hours such as 16,64,112"), text) from None


def forecast_lines(result: ForecastResult) -> list[str]:
    """The forecast as text."""
    from mustwright.must.gravity_text import gravity_number as said
    from mustwright.must.gravity_text import gravity_sign
    from mustwright.planning.likeness import HOUSE_NOTE

    run, named = result.forecast, say("gravity {sign}", sign=gravity_sign()).strip()
    fed = result.plan.protocol_name if result.plan else say("no feed at all")
    lines: list[str] = [say("{must}: {fed}", must=result.name, fed=fed), ""]
    lines.append(
        say(
            "{day:>5s}  {half:>24s}  {most:>16s}  sugar g/L",
            day=say("day"),
            half=say("{gravity}: half of the runs", gravity=named),
            most=say("nine in ten"),
        )
    )
    shown = set(run.times_h) if len(run.times_h) <= 20 else {24.0 * d for d in SHOWN_DAYS}
    for k, t in enumerate(run.times_h):
        if t in shown:
            g = run.gravity
            lines.append(
                say(
                    "{day:5.1f}  {p25:>10s} {p50:>5s} {p75:>5s}   {p05:>8s} {p95:>5s}  "
                    "{sugar_g_l:8.0f}",
                    day=t / 24,
                    p25=said(g.p25[k]),
                    p50=said(g.p50[k]),
                    p75=said(g.p75[k]),
                    p05=said(g.p05[k]),
                    p95=said(g.p95[k]),
                    sugar_g_l=run.sugar_g_l.p50[k],
                )
            )
    gas, left = run.peak_gas_l_h, run.residual_yan_mg_l
    lines += [
        "",
        say("Dry: {dry}", dry=_dry(run)),
        say(
            "Chance of stopping short: {chance:.0%}, of it {unknown:.0%} for reasons the model "
            "does not cover",
            chance=run.chance_of_sticking,
            unknown=run.chance_not_modelled,
        ),
        *_sweet(run),
        say(
            "Highest gas rate: {gas:.3g} L/h ({low:.3g} to {high:.3g})",
            gas=gas.p50,
            low=gas.p05,
            high=gas.p95,
        ),
        say(
            "Nitrogen left: {left:.0f} mg N/L ({low:.0f} to {high:.0f})",
            left=left.p50,
            low=left.p05,
            high=left.p95,
        ),
    ]
    if result.plan:
        for feed, outcome in zip(
            result.plan.feeds, run.feeds[: len(result.plan.feeds)], strict=True
        ):
            lines.append(say("  {feed}: {days}", feed=feed.name, days=_days(outcome.expected_h)))
    if result.with_ph:
        lines += ["", *ph_lines(result)]
    if run.verdict:
        lines += ["", run.verdict.message]
    if result.ground.house is not None:
        lines += ["", say("{note} --no-house leaves them out.", note=HOUSE_NOTE)]
    lines += ["", *(say("  - {warning}", warning=warning) for warning in result.warnings)]
    return lines


def _sweet(run: Forecast) -> list[str]:
    from mustwright.planning.outcome import SHARE_SAID

    if run.chance_of_stopping_sweet < SHARE_SAID:
        return []
    return [
        say(
            "Stops sweet at its yeast's limit: {chance:.0%}",
            chance=run.chance_of_stopping_sweet,
        )
    ]


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
    worse = say(
        "  Potassium and low pH raise the odds of stopping {odds:.2g} times, "
        "within the {chance:.0%}",
        odds=odds["p50"],
        chance=chance["p50"],
    )
    return [
        say(
            "pH: lowest {ph}, reached by day {day:.1f} ({first:.1f} to {last:.1f}); crash risk "
            "{risk}: {under:.0%} under {floor:g}, {low:.0%} below {lowest:g}",
            ph=trough["words"],
            day=when["p50"] / 24,
            first=when["p05"] / 24,
            last=when["p95"] / 24,
            risk=literal(trough["risk"], "risk"),
            under=trough["chance_below_floor"],
            floor=trough["floor"],
            low=trough["below_2_9"],
            lowest=lowest_shown(),
        ),
        say("  {note}", note=told["ph_note"]),
        *([worse] if odds["p50"] >= 1.1 else []),
    ]


def _dry(run: Forecast) -> str:
    """The day, and between which days it is dry in nine of ten runs that get there."""
    there = run.hours_if_dry
    days = days_range(there.p05 / 24, there.p95 / 24)
    if not math.isfinite(run.hours_to_dry.p50):
        if not math.isfinite(run.hours_to_dry.p05):
            return say("never")
        return say("not in most runs (day {days} where it gets there)", days=days)
    return say(
        "about day {day} (day {days} where it gets there)",
        day=days_number(run.hours_to_dry.p50 / 24),
        days=days,
    )


def _days(band: Band) -> str:
    def one(hours: float) -> str:
        return say("day {day:.1f}", day=hours / 24) if hours < 1e6 else say("never")

    return say(
        "{middle} ({first} to {last})",
        middle=one(band.p50),
        first=one(band.p05),
        last=one(band.p95),
    )
