"""The `plan` command: what to mix, how to pitch, what to feed when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from mustwright.cli.feeding_text import (
    acid_lines,
    amount_text,
    bound_lines,
    lever_lines,
    nitrogen_lines,
    outcome_lines,
    potassium_line,
    programme_lines,
    range_text,
)
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
from mustwright.cli.tailored import tailored_lines, write_protocols
from mustwright.cli.units import UNITS
from mustwright.errors import InputError
from mustwright.input_names import input_words
from mustwright.texts import join, say

if TYPE_CHECKING:
    from mustwright.nutrition.protocols import Protocol
    from mustwright.planning.likeness import HouseFor
    from mustwright.planning.must_setup import Ground, MustResult
    from mustwright.planning.plan_result import PlanResult
    from mustwright.planning.tailored import TailoredPlan
    from mustwright.unit_system import UnitSystem


@command("plan")
@click.argument("file", metavar="FILE")
@click.option("--protocol", metavar="ID", help="Id of a protocol, or a protocol file (.toml).")
@aim_option
@as_written_option
@forecast_option
@HOUSE
@click.option(
    "--tailor",
    "tailoring",
    is_flag=True,
    help="Also search for feeds made for this must; takes some seconds, Ctrl-C stops it.",
)
@click.option(
    "--tailor-into",
    metavar="FOLDER",
    help="Search, and write each plan found as a protocol file into FOLDER.",
)
@click.option(
    "--vary",
    metavar="LIST",
    help="Search, and let the must change too: yeast, gravity (0.010 less at most), temperature "
    "(4 °C either way at most), salt; commas between.",
)
@UNITS
@click.option("--explain", is_flag=True, help="Show inputs, formula and source of every figure.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def plan_command(
    file: str,
    protocol: str | None,
    aim: str | None,
    as_written: bool,
    forecast: bool | None,
    house: bool,
    tailoring: bool,
    tailor_into: str | None,
    vary: str | None,
    explain: bool,
    as_json: bool,
) -> None:
    """Plan the must in FILE (a must sheet; - reads standard input)."""
    from mustwright.planning.acidity.protocol_risk import acid_of_plan
    from mustwright.planning.plan import plan
    from mustwright.planning.plan_json import plan_data, plan_working
    from mustwright.planning.tailor_change import vary_called
    from mustwright.planning.tailored import stays_closed

    text, name = spoken_sheet(file)
    ids, own = chosen_protocols(() if protocol is None else (protocol,))
    chosen = ids[0] if ids else None
    opened = vary_called(vary or "")
    wanted = tailoring or tailor_into is not None or vary is not None
    if forecast is False and wanted:
        raise InputError("--tailor", say("needs the forecast"), "--no-forecast")
    found: tuple[TailoredPlan, ...] | None = None
    if forecast is False:
        result = plan(text, chosen, own, name, aim, as_written)
    else:
        say_when_compiling()
        own_batches = own_house() if house else None
        result, found = _foreseen(
            text, chosen, own, name, aim, as_written, opened if wanted else None, own_batches
        )
        if forecast:
            result = acid_of_plan(result)
    if tailor_into is not None:
        write_protocols(found or (), Path(tailor_into))
    if as_json:
        print_json(plan_data(result, explain, found))
        return
    lines = plan_lines(result)
    if found is not None:
        lines += ["", *tailored_lines(found), *stays_closed(result.ground, opened)]
    print_answer(lines, partial(plan_working, result) if explain else None)


def _foreseen(
    text: str,
    chosen: str | None,
    own: Mapping[str, Protocol],
    name: str,
    aim: str | None,
    as_written: bool,
    vary: frozenset[str] | None,
    house: HouseFor | None,
) -> tuple[PlanResult, tuple[TailoredPlan, ...] | None]:
    """The plan with its forecast and levers, and what was tailored unless `vary` is None."""
    from mustwright.cli.progress_line import on_stderr
    from mustwright.planning.levers import levers_of, with_levers
    from mustwright.planning.likeness import at_home
    from mustwright.planning.plan import compare, plan
    from mustwright.planning.plan_forecast import foresee_comparison, foresee_plan
    from mustwright.planning.tailored import tailor

    if chosen is not None and vary is None:
        bare = plan(text, chosen, own, name, aim, as_written)
        result = foresee_plan(replace(bare, ground=at_home(bare.ground, house)))
        return replace(result, levers=levers_of(result)), None
    others = compare(text, None, own, name, aim, as_written)
    every = foresee_comparison(replace(others, ground=at_home(others.ground, house)))
    found = None if vary is None else tailor(every, on_stderr("searching"), vary=vary)
    return with_levers(every, chosen), found


def plan_lines(result: PlanResult) -> list[str]:
    """The plan as text for a terminal or a printer."""
    from mustwright.planning.plan_text import in_sentence

    lines: list[str] = [result.name, "", *generic_lines(result.ground)]
    if result.levers:
        lines += [result.levers.words, ""]
    lines += _must_lines(result.must, result.ground.units)
    lines += own_lines(result.ground)
    lines += ["", say("Pitch: {yeast} yeast", yeast=result.pitch.yeast)]
    for i, step in enumerate(result.pitch.steps, 1):
        lines.append(say("  [ ] {i}. {title}: {detail}", i=i, title=step.title, detail=step.detail))
        if step.caution:
            lines.append(say("         ! {caution}", caution=step.caution))
    lines += [
        "",
        say(
            "Feeding: {name} ({protocol})",
            name=result.plan.protocol_name,
            protocol=result.plan.protocol,
        ),
    ]
    if result.chosen:
        lines.append(
            say(
                "  Recommended for {aim}: {words}.",
                aim=result.aim.name,
                words=result.aim.words,
            )
        )
    if result.ground.setting.follow_author:
        lines.append(say("  Followed as its author wrote it: only the law is a limit."))
    reasons = join("; ", result.verdict.reasons)
    if reasons:
        lines.append(say("  For it: {reasons}.", reasons=reasons))
    if result.verdict.against:
        lines.append(
            say(
                "  Against it: {reasons}.",
                reasons=join("; ", map(in_sentence, result.verdict.against)),
            )
        )
    lines += nitrogen_lines(result.plan)
    if result.outcome:
        lines += outcome_lines(result.outcome)
    lines += programme_lines(result.plan)
    lines += bound_lines(result.plan)
    if result.cost.batch is not None:
        lines.append(say("  {words}", words=result.cost.words))
    lines += ["", say("Balance, mg per litre: need / must / rehydration / plan / short")]
    for row in result.plan.balance:
        values = (row.need_mg_l, row.must_mg_l, row.rehydration_mg_l, row.plan_mg_l, row.short_mg_l)
        lines.append(
            say("  {nutrient:12s}", nutrient=input_words(row.nutrient))
            + join("", (say("{amount:>10s}", amount=amount_text(f)) for f in values))
        )
    if result.levers:
        lines += ["", *lever_lines(result.levers)]
    if result.acid:
        lines.append(potassium_line(result.acid))
        lines += ["", *(line.strip() for line in acid_lines(result.acid))]
    if result.warnings:
        lines += ["", say("Watch out")]
        lines += [say("  - {warning}", warning=warning) for warning in result.warnings]
    lines += [
        "",
        say(
            "Law: {name}, {edition}. {note}",
            name=result.profile.name,
            edition=result.profile.edition,
            note=result.profile.note,
        ),
    ]
    return lines


def own_lines(ground: Ground) -> list[str]:
    """What the must brings itself, where that is worth saying."""
    from mustwright.planning.own_nitrogen import own_nitrogen

    said = own_nitrogen(ground)
    return [say("  {said}", said=said)] if said else []


def _must_lines(must: MustResult, units: UnitSystem) -> list[str]:
    from mustwright.must.gravity_text import with_brix
    from mustwright.unit_system import mass, volume

    lines: list[str] = [
        say(
            "Must: {volume} at gravity {gravity}, {sugar_g_l:.0f} g/L sugar, up to "
            "{potential_alcohol_pct:.1f} % vol ({range})",
            volume=volume(must.volume_l.value, units, 2),
            gravity=with_brix(must.gravity.value, must.brix.value, 4),
            sugar_g_l=must.sugar_g_l.value,
            potential_alcohol_pct=must.potential_alcohol_pct.value,
            range=range_text(must.potential_alcohol_pct),
        )
    ]
    for line in must.ingredients:
        stage = "" if line.stage == "primary" else say("  later: {stage}", stage=line.stage)
        weight, room = mass(line.kg.value, units, 3), volume(line.litres.value, units, 2)
        lines.append(
            say(
                "  {weight:>12s}  {room:>11s}  {kind}{stage}",
                weight=weight,
                room=room,
                kind=line.kind,
                stage=stage,
            )
        )
    return lines
