"""The `plan` command: what to mix, how to pitch, what to feed when."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
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
from mustwright.cli.units import UNITS
from mustwright.errors import InputError

if TYPE_CHECKING:
    from mustwright.figure import Figure
    from mustwright.nutrition.feeding_plan import Feed, FeedingPlan
    from mustwright.nutrition.protocols import Protocol
    from mustwright.planning.acidity.acid_risk import AcidRisk
    from mustwright.planning.lever import Levers
    from mustwright.planning.likeness import HouseFor
    from mustwright.planning.must_setup import MustResult
    from mustwright.planning.outcome import Outcome
    from mustwright.planning.plan_result import PlanResult
    from mustwright.planning.tailored import TailoredPlan
    from mustwright.unit_system import UnitSystem


@click.command("plan")
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
    explain: bool,
    as_json: bool,
) -> None:
    """Plan the must in FILE (a must sheet; - reads standard input)."""
    from mustwright.planning.acidity.protocol_risk import acid_of_plan
    from mustwright.planning.plan import plan
    from mustwright.planning.plan_json import plan_data, plan_working

    text, name = spoken_sheet(file)
    ids, own = chosen_protocols(() if protocol is None else (protocol,))
    chosen = ids[0] if ids else None
    wanted = tailoring or tailor_into is not None
    if forecast is False and wanted:
        raise InputError("--tailor", "needs the forecast", "--no-forecast")
    found: tuple[TailoredPlan, ...] | None = None
    if forecast is False:
        result = plan(text, chosen, own, name, aim, as_written)
    else:
        say_when_compiling()
        own_batches = own_house() if house else None
        result, found = _foreseen(text, chosen, own, name, aim, as_written, wanted, own_batches)
        if forecast:
            result = acid_of_plan(result)
    if tailor_into is not None:
        _write(found or (), Path(tailor_into))
    if as_json:
        print_json(plan_data(result, explain, found))
        return
    lines = plan_lines(result)
    if found is not None:
        lines += ["", *tailored_lines(found)]
    print_answer(lines, partial(plan_working, result) if explain else None)


def _foreseen(
    text: str,
    chosen: str | None,
    own: Mapping[str, Protocol],
    name: str,
    aim: str | None,
    as_written: bool,
    tailoring: bool,
    house: HouseFor | None,
) -> tuple[PlanResult, tuple[TailoredPlan, ...] | None]:
    """The plan with its forecast and levers, and what was tailored where that is asked for."""
    from mustwright.planning.levers import levers_of, with_levers
    from mustwright.planning.likeness import at_home
    from mustwright.planning.plan import compare, plan
    from mustwright.planning.plan_forecast import foresee_comparison, foresee_plan
    from mustwright.planning.tailored import tailor

    if chosen is not None and not tailoring:
        bare = plan(text, chosen, own, name, aim, as_written)
        result = foresee_plan(replace(bare, ground=at_home(bare.ground, house)))
        return replace(result, levers=levers_of(result)), None
    others = compare(text, None, own, name, aim, as_written)
    every = foresee_comparison(replace(others, ground=at_home(others.ground, house)))
    found = tailor(every, _told) if tailoring else None
    return with_levers(every, chosen), found


def _told(part: float) -> bool:
    """How far the search is, on standard error."""
    if round(100 * part) % 25 == 0:
        print(f"mustwright: note: searching, {part:.0%}", file=sys.stderr)
    return True


def _write(found: Sequence[TailoredPlan], folder: Path) -> None:
    """Each plan found as a protocol file."""
    from mustwright.nutrition.protocols import read_protocol

    try:
        folder.mkdir(parents=True, exist_ok=True)
        for one in found:
            name = f"{read_protocol(one.protocol_file).id}.toml"
            (folder / name).write_text(one.protocol_file, encoding="utf-8")
    except OSError as error:
        raise InputError(
            "--tailor-into", "needs a folder that can be written", str(error)
        ) from None


def tailored_lines(found: Sequence[TailoredPlan]) -> list[str]:
    """What a search found, one paragraph a result."""
    if not found:
        return ["Tailored: nothing that keeps to every bound and does as well as a protocol."]
    lines = ["Tailored to this must (search; judged on other runs than it was found on)"]
    for one in found:
        lines += ["", f"  {one.words}"]
        dry = one.outcome.days_to_dry.value
        said = f"day {dry:.1f}" if dry < 1e5 else "never in most runs"
        lines.append(
            f"  Dry {said}, sticks or crawls in {one.outcome.chance_of_sticking.value:.0%} of runs"
        )
        for feed in one.plan.feeds:
            grams = ", ".join(f"{i.grams.value:g} g {i.name}" for i in feed.items) or "nothing"
            lines.append(f"    {feed.trigger}: {grams}")
    return lines


def plan_lines(result: PlanResult) -> list[str]:
    """The plan as text for a terminal or a printer."""
    lines = [result.name, "", *generic_lines(result.ground)]
    if result.levers:
        lines += [result.levers.words, ""]
    lines += _must_lines(result.must, result.ground.units)
    lines += ["", f"Pitch: {result.pitch.yeast} yeast"]
    for i, step in enumerate(result.pitch.steps, 1):
        lines.append(f"  [ ] {i}. {step.title}: {step.detail}")
        if step.caution:
            lines.append(f"         ! {step.caution}")
    lines += ["", f"Feeding: {result.plan.protocol_name} ({result.plan.protocol})"]
    if result.chosen:
        lines.append(f"  Recommended for {result.aim.name}: {result.aim.words}.")
    if result.ground.setting.follow_author:
        lines.append("  Followed as its author wrote it: only the law is a limit.")
    reasons = "; ".join(result.verdict.reasons)
    if reasons:
        lines.append(f"  For it: {reasons}.")
    if result.verdict.against:
        lines.append(f"  Against it: {'; '.join(result.verdict.against)}.")
    lines += nitrogen_lines(result.plan)
    if result.outcome:
        lines += outcome_lines(result.outcome)
    for feed in result.plan.feeds:
        lines += _feed_lines(feed)
    lines += bound_lines(result.plan)
    if result.cost.batch is not None:
        lines.append(f"  {result.cost.words}")
    lines += ["", "Balance, mg per litre: need / must / rehydration / plan / short"]
    for row in result.plan.balance:
        values = (row.need_mg_l, row.must_mg_l, row.rehydration_mg_l, row.plan_mg_l, row.short_mg_l)
        lines.append(f"  {row.nutrient:12s}" + "".join(f"{_amount(f):>10s}" for f in values))
    if result.levers:
        lines += ["", *lever_lines(result.levers)]
    if result.acid:
        lines.append(potassium_line(result.acid))
        lines += ["", *(line.strip() for line in acid_lines(result.acid))]
    if result.warnings:
        lines += ["", "Watch out"]
        lines += [f"  - {warning}" for warning in result.warnings]
    lines += ["", f"Law: {result.profile.name}, {result.profile.edition}. {result.profile.note}"]
    return lines


def _must_lines(must: MustResult, units: UnitSystem) -> list[str]:
    from mustwright.unit_system import mass, volume

    lines = [
        f"Must: {volume(must.volume_l.value, units, 2)} at gravity {must.gravity.value:.4f} "
        f"({must.brix.value:.1f} Brix), {must.sugar_g_l.value:.0f} g/L sugar, "
        f"up to {must.potential_alcohol_pct.value:.1f} % vol ({_range(must.potential_alcohol_pct)})"
    ]
    for line in must.ingredients:
        stage = "" if line.stage == "primary" else f"  later: {line.stage}"
        weight, room = mass(line.kg.value, units, 3), volume(line.litres.value, units, 2)
        lines.append(f"  {weight:>12s}  {room:>11s}  {line.kind}{stage}")
    return lines


def nitrogen_lines(plan: FeedingPlan) -> list[str]:
    """Nitrogen in one glance, kinds apart."""
    n = plan.nitrogen
    return [
        f"  Nitrogen, mg N/L: {n.demand_mg_l.value:.0f} needed; the must holds "
        f"{n.credit_mg_l.value:.0f} ({_range(n.credit_mg_l)}), rehydration "
        f"{n.rehydration_mg_l.value:.0f}; feeds add {n.added_ammonium_mg_l.value:.0f} ammonium "
        f"and {n.added_amino_mg_l.value:.0f} amino; short {n.short_mg_l.value:.0f}",
        _early_line(plan),
    ]


def _early_line(plan: FeedingPlan) -> str:
    """How much of it comes early, or that there is nothing to add."""
    if plan.nitrogen.added_mg_l.value <= 0:
        why = "can be fed" if plan.missing or not plan.feasible else "need be fed"
        return f"  Nothing {why}"
    share = 100 * plan.nitrogen.early_share.value
    return f"  {share:.0f} % of what is fed comes before a third of the sugar is gone"


def outcome_lines(outcome: Outcome) -> list[str]:
    """What the plan would do, in two lines."""
    dry = outcome.days_to_dry

    def day(value: float | None) -> str:
        return "never" if value is None or value > 1e5 else f"day {value:.1f}"

    if dry.value > 1e5:
        first = "never dry" if dry.low is None or dry.low > 1e5 else "not dry in most runs"
    else:
        first = f"dry {day(dry.value)} ({day(dry.low)} to {day(dry.high)})"
    lines = [
        f"  Forecast: {first}, "
        f"stops short in {outcome.chance_of_sticking.value:.0%} of runs, "
        f"leaves {outcome.residual_yan_mg_l.value:.0f} mg N/L, "
        f"at most {outcome.peak_gas_l_h.value:.2g} L/h of gas"
    ]
    if outcome.stops_sweet.value >= 0.005:
        lines.append(f"  Stops sweet at its yeast's limit: {outcome.stops_sweet.value:.0%} of runs")
    if outcome.against_best:
        lines.append(f"  Against the recommended one: {outcome.against_best}")
    return lines


def lever_lines(levers: Levers) -> list[str]:
    """What would matter most: each step with the chance to get dry and the days to it."""
    lines = ["What would matter most: chance to get dry in six weeks, days to it"]
    for one in (levers.as_planned, *levers.moved):
        days = one.days_to_dry.value
        said = f"{days:5.1f} d" if days < 1e5 else "never  "
        lines.append(f"  {one.chance_of_dry.value:4.0%} {said}  {one.change}")
    return lines


def acid_lines(acid: AcidRisk) -> list[str]:
    """What the plan does to the acid, in one line, and what that does to the odds of sticking."""
    lines = [
        f"  pH: lowest {acid.trough.words}, crash risk {acid.risk} "
        f"({acid.chance_below_floor.value:.0%} under {acid.floor.value:g})"
        + ("" if acid.measured else "; from the recipe alone, measure it")
    ]
    odds = acid.odds_factor.value
    if odds >= 1.1:
        lines.append(
            f"  In the chance above: acid and too little potassium multiply the odds of sticking "
            f"by {odds:.2g}"
        )
    return lines


def potassium_line(acid: AcidRisk) -> str:
    """Potassium against the acid at the trough, as a line of the balance."""
    ratio = acid.potassium_ratio
    return (
        f"  K : H at the lowest pH {ratio.value:.0f} ({ratio.low:.0f} to {ratio.high:.0f}) "
        f"mol/mol; "
        f"the published ratio asks for {acid.potassium_needed_mg_l.low:.0f} to "
        f"{acid.potassium_needed_mg_l.high:.0f} mg/L (see `mustwright acidity`)"
    )


def _feed_lines(feed: Feed) -> list[str]:
    grams = ", ".join(f"{i.grams.value:g} g {i.name}" for i in feed.items) or "nothing"
    by_clock = feed.expected_h.low is None  # the trigger already names the hour
    expected = "" if by_clock else f"; expected about {hours_text(feed.expected_h)}"
    lines = [f"  [ ] {feed.name}: {grams}", f"      {feed.trigger}{expected}"]
    lines += [f"      {note}" for note in feed.notes]
    return lines


def bound_lines(plan: FeedingPlan) -> list[str]:
    """What is missing, what the plan as written breaks or touches, and what would lift it."""
    lines = [f"  Cannot be met: {sentence}." for sentence in plan.missing]
    lines += [f"  {sentence}" for sentence in plan.gave_way]
    lines += [
        f"  As written it would take {b.asked_g_l.value:.2f} g/L where {b.words}; kept within."
        for b in plan.breaches
    ]
    lines += [f"  Reaches a limit: {b.words}." for b in plan.touched]
    lines += [f"  {sentence}" for sentence in plan.would_free]
    if plan.cost is not None:
        lines.append(f"  The nutrients cost {plan.cost.value:.2f} in your currency.")
    elif plan.cost_note:
        lines.append(f"  Cost of the nutrients not known: {plan.cost_note}.")
    return lines


def hours_text(expected: Figure) -> str:
    """Hours after pitch as a person reads them, with their range."""
    value = expected.value
    text = f"{value:.0f} h" if value < 48 else f"day {value / 24:.1f}"
    if expected.low is not None and expected.high is not None:
        text += f" ({expected.low:.0f} to {expected.high:.0f} h)"
    return text + " after pitch" if value else "at pitch"


def _range(figure: Figure) -> str:
    if figure.low is None or figure.high is None:
        return "as typed"
    digits = 1 if figure.high < 30 else 0
    return f"{figure.low:.{digits}f} to {figure.high:.{digits}f}"


def _amount(figure: Figure) -> str:
    return f"{figure.value:.2f}" if figure.value < 10 else f"{figure.value:.0f}"
