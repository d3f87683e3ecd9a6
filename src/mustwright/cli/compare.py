"""The `compare` command: several protocols on one must, side by side."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import click

from mustwright.cli.sheets import (
    HOUSE,
    aim_option,
    as_written_option,
    chosen_protocols,
    forecast_option,
    generic_lines,
    own_house,
    print_answer,
    print_json,
    say_when_compiling,
    spoken_sheet,
)
from mustwright.cli.spoken_help import command
from mustwright.cli.units import UNITS
from mustwright.texts import join, literal, say

if TYPE_CHECKING:
    from mustwright.nutrition.feeding_plan import FeedingPlan
    from mustwright.planning.plan_result import Comparison, PlanResult

AXIS_DAYS = 8
AXIS_COLUMNS = 48


@command("compare")
@click.argument("file", metavar="FILE")
@click.option(
    "--protocol",
    "protocols",
    multiple=True,
    metavar="ID",
    help="Compare only this one; may be repeated. Without it all are compared.",
)
@aim_option
@as_written_option
@forecast_option
@HOUSE
@UNITS
@click.option("--explain", is_flag=True, help="Show inputs, formula and source of every figure.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def compare_command(
    file: str,
    protocols: tuple[str, ...],
    aim: str | None,
    as_written: bool,
    forecast: bool | None,
    house: bool,
    explain: bool,
    as_json: bool,
) -> None:
    """Compare feeding protocols on the must in FILE."""
    from mustwright.planning.acidity.protocol_risk import acid_of_comparison
    from mustwright.planning.likeness import at_home
    from mustwright.planning.plan import compare
    from mustwright.planning.plan_forecast import foresee_comparison
    from mustwright.planning.plan_json import comparison_data, comparison_working

    text, name = spoken_sheet(file)
    ids, own = chosen_protocols(protocols)
    result = compare(text, ids or None, own, name, aim, as_written)
    if forecast is not False:
        say_when_compiling()
        result = replace(result, ground=at_home(result.ground, own_house() if house else None))
        result = foresee_comparison(result)
    if forecast:
        result = acid_of_comparison(result)
    if as_json:
        print_json(comparison_data(result, explain))
        return
    print_answer(comparison_lines(result), partial(comparison_working, result) if explain else None)


def comparison_lines(result: Comparison) -> list[str]:
    """The comparison as text: a time axis, then one paragraph a protocol, best first."""
    from mustwright.cli.plan import own_lines
    from mustwright.must.gravity_text import gravity_text
    from mustwright.unit_system import volume

    must = result.must
    lines: list[str] = [
        say(
            "{must}: {volume} at {gravity}, {demand_mg_l:.0f} mg N/L "
            "needed, the must holds {credit_mg_l:.0f}",
            must=result.name,
            volume=volume(must.volume_l.value, result.ground.units),
            gravity=gravity_text(must.gravity.value),
            demand_mg_l=result.plans[0].nitrogen.demand_mg_l.value,
            credit_mg_l=result.plans[0].nitrogen.credit_mg_l.value,
        ),
        *own_lines(result.ground),
        "",
        *generic_lines(result.ground),
        say("{days:34s} ", days=say("days after pitch")) + _axis(),
    ]
    best_first = result.best_first()
    for plan in (one.plan for one in best_first):
        mark = "*" if plan.protocol == result.suits_best else " "
        n = plan.nitrogen
        lines.append(
            say(
                "{mark}{protocol:33s} {axis} {total_mg_l:4.0f} of {demand_mg_l:.0f}",
                mark=mark,
                protocol=plan.protocol[:33],
                axis=_feeds_on_axis(plan),
                total_mg_l=n.total_mg_l.value,
                demand_mg_l=n.demand_mg_l.value,
            )
        )
    lines.append(say("  A feed of mostly ammonium is A, mostly amino o; * is recommended."))
    for one in best_first:
        lines += ["", *_paragraph(one)]
    if result.warnings:
        lines += [
            "",
            say("Watch out"),
            *(say("  - {warning}", warning=warning) for warning in result.warnings),
        ]
    return lines


def _axis() -> str:
    step = AXIS_COLUMNS // AXIS_DAYS
    return "".join(f"{day:<{step}d}" for day in range(AXIS_DAYS)) + str(AXIS_DAYS)


def _feeds_on_axis(plan: FeedingPlan) -> str:
    row = ["."] * (AXIS_COLUMNS + 1)
    for feed in plan.feeds:
        if not feed.items:
            continue
        column = round(feed.expected_h.value / 24 / AXIS_DAYS * AXIS_COLUMNS)
        ammonium = feed.ammonium_mg_l.value > feed.amino_mg_l.value
        row[min(max(column, 0), AXIS_COLUMNS)] = "A" if ammonium else "o"
    return "".join(row)


_BY_CLOCK = literal("    {feed}: {doses}; {when}")
_BY_EYE = literal("    {feed}: {doses}; about {when}")


def _paragraph(result: PlanResult) -> list[str]:
    from mustwright.cli.feeding_text import (
        acid_lines,
        bound_lines,
        hours_text,
        nitrogen_lines,
        outcome_lines,
    )
    from mustwright.must.gravity_text import with_gravities
    from mustwright.planning.plan_text import in_sentence

    plan, verdict = result.plan, result.verdict
    lines: list[str] = [say("{name} ({protocol})", name=plan.protocol_name, protocol=plan.protocol)]
    lines += nitrogen_lines(plan)
    if result.outcome:
        lines += outcome_lines(result.outcome)
    if result.acid:
        lines += acid_lines(result.acid)
    for feed in plan.feeds:
        doses = [say("{grams:g} g {name}", grams=i.grams.value, name=i.name) for i in feed.items]
        wording = _BY_CLOCK if feed.expected_h.low is None else _BY_EYE
        lines.append(
            wording.format(
                feed=feed.name,
                doses=join(", ", doses) if doses else say("nothing"),
                when=hours_text(feed.expected_h),
            )
        )
    if plan.salt and plan.salt.parts:
        lines.append(
            say(
                "    {salt}: {words}",
                salt=plan.salt.name,
                words=plan.salt.words,
            )
        )
    lines += bound_lines(plan)
    lines.append(say("  Assumes: {what}", what=with_gravities(join(" ", plan.assumes))))
    if verdict.against:
        lines.append(
            say(
                "  Against it: {reasons}.",
                reasons=join("; ", map(in_sentence, verdict.against)),
            )
        )
    return lines
