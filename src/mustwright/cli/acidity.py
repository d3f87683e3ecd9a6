"""The `acidity` command: the pH of the must, where it will go, and what steadies it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from mustwright.cli.sheets import chosen_protocols, print_json, spoken_sheet
from mustwright.cli.units import UNITS
from mustwright.kinetics.ensemble_setting import MEMBERS, SEED
from mustwright.must.acidity.claims import ph_floor

if TYPE_CHECKING:
    from mustwright.figure import Figure
    from mustwright.planning.acidity.result import AcidityResult, DoseAnswer, PhBand


@click.command("acidity")
@click.argument("file", metavar="FILE")
@click.option("--ph", type=float, help="pH measured before yeast; the sheet's pH if not given.")
@click.option("--strip", is_flag=True, help="The pH was read from a paper strip.")
@click.option("--ta", metavar="AMOUNT", help="Titratable acid measured: '4 g/L' or '53 meq/L'.")
@click.option("--aim-ta", metavar="AMOUNT", help="Titratable acid wanted, with --salt.")
@click.option("--floor", type=float, default=ph_floor(), show_default=True, help="pH to keep.")
@click.option("--protocol", metavar="ID", help="Id or file of a protocol; 'none' for no feeds.")
@click.option("--salt", metavar="NAME", help="Salt or acid, such as 'potassium carbonate'.")
@click.option("--bench", multiple=True, metavar="G_PER_L:PH", help="A bench trial with the salt.")
@click.option("--compare", is_flag=True, help="Also compare every protocol.")
@click.option(
    "--members",
    type=int,
    default=MEMBERS,
    show_default=True,
    help="Number of possible musts to try.",
)
@click.option(
    "--seed",
    type=int,
    default=SEED,
    show_default=True,
    help="Random seed: the same seed gives the same answer.",
)
@click.option("--explain", is_flag=True, help="Show inputs, formula and source of every figure.")
@UNITS
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def acidity_command(
    file: str,
    ph: float | None,
    strip: bool,
    ta: str | None,
    aim_ta: str | None,
    floor: float,
    protocol: str | None,
    salt: str | None,
    bench: tuple[str, ...],
    compare: bool,
    members: int,
    seed: int,
    explain: bool,
    as_json: bool,
) -> None:
    """Acid and buffer of the must in FILE (a must sheet; - reads standard input)."""
    from mustwright.planning.acidity.as_json import acidity_data, acidity_working
    from mustwright.planning.acidity.feed_acid import NO_PROTOCOL
    from mustwright.planning.acidity.report import acidity
    from mustwright.planning.acidity.request import AcidityRequest
    from mustwright.planning.acidity.request_fields import bench_points, titratable_g_l

    asked = AcidityRequest(
        ph,
        strip,
        titratable_g_l(ta, "--ta"),
        titratable_g_l(aim_ta, "--aim-ta"),
        floor,
        salt,
        bench_points(",".join(bench), "--bench"),
        members,
        seed,
    )
    text, name = spoken_sheet(file)
    typed = (protocol,) if protocol and protocol != NO_PROTOCOL else ()
    ids, own = ([NO_PROTOCOL], {}) if protocol == NO_PROTOCOL else chosen_protocols(typed)
    result = acidity(text, asked, ids[0] if ids else None, own, name, compare)
    if as_json:
        print_json(acidity_data(result, explain))
        return
    for line in acidity_lines(result):
        click.echo(line)
    if explain:
        from mustwright.cli.figure_text import working_lines

        click.echo("\nWorking")
        for line in working_lines(acidity_working(result)):
            click.echo(f"  {line}")


def acidity_lines(result: AcidityResult) -> list[str]:
    """The answer as text for a terminal or a printer."""
    start = result.start
    how = (
        f"measured {start.measured_ph.value:g}"
        if start.measured_ph is not None
        else "from the recipe alone, not measured"
    )
    lines = [
        result.name,
        "",
        f"pH before yeast: {_band(start.band)} ({how})",
        f"Titratable acid: {_range(result.titratable_acid_g_l)}; to pH 7.0 "
        f"{_range(result.titratable_acid_to_7_g_l)}",
        f"Buffer: {_range(result.buffer_meq_l)}",
        "",
        f"Feeding: {result.protocol_name} ({result.protocol}) leaves "
        f"{result.acid_load_meq_l.value:.1f} meq/L of acid",
    ]
    for feed in result.feeds:
        lines.append(
            f"  {feed.name}: {feed.ammonium_mg_l:.0f} ammonium and {feed.amino_mg_l:.0f} amino "
            f"mg N/L, {feed.acid_load_meq_l.value:.1f} meq/L, moves the lowest pH by "
            f"{feed.moves_trough.value:+.2f}"
        )
    trough = result.trough
    lines += [
        f"Lowest pH: {trough.band.words}, reached by {trough.at_sugar_used.value:.0%} of the sugar",
        f"  {trough.words[0].upper()}{trough.words[1:]}.",
    ]
    lines += _dose_lines(result.dose)
    lines += [f"  Without it: {result.dose.chance_without.value:.0%} chance of keeping the floor."]
    lines += _up_front_lines(result)
    if result.bench is not None:
        left = result.bench.members_left
        lines += ["", f"Bench trial, scaled to the batch ({left:.0f} possible musts fit)"]
        lines += [
            f"  {p.g_per_l:g} g/L, pH {p.ph:g}: {p.grams_for_batch.value:.1f} g"
            for p in result.bench.points
        ]
    if result.aim is not None:
        lines += ["", f"Acid to {result.aim.aim_g_l:g} g/L: {result.aim.words}"]
    lines += _rest_lines(result)
    return lines


def _dose_lines(dose: DoseAnswer) -> list[str]:
    lines = ["", f"{dose.name}: {dose.words}"]
    for moment in dose.moments:
        lines.append(f"  [ ] {moment.grams.value:g} g {moment.words}")
    lines += [f"      {i}. {step}" for i, step in enumerate(dose.steps, 1)]
    if dose.moments:
        lines.append(
            f"  Brings {dose.potassium_mg_l.value:.0f} mg/L potassium"
            + (f", {dose.calcium_mg_l.value:.0f} mg/L calcium" if dose.calcium_mg_l.value else "")
            + f"; up to {dose.gas_l.value:.1f} L of gas."
        )
        if dose.chance_dip_before.value >= 0.05:
            lines.append(
                f"  Before that it may dip below the floor: {dose.chance_dip_before.value:.0%} "
                f"chance. "
                "If you read it below the floor, give half at once."
            )
    if dose.overshoots:
        lines.append(f"  Note: it may raise pH as far as {dose.highest.p95.value:.1f}.")
    lines += [f"  Law: {words}" for words in dose.law if words not in dose.words]
    return lines


def _up_front_lines(result: AcidityResult) -> list[str]:
    lines = ["", f"{result.dose.name} before the yeast would give"]
    lines += [f"  {u.g_per_l:4.2f} g/L   pH {_band(u.band)}" for u in result.up_front]
    return [*lines, f"  {result.up_front_words}"]


def _rest_lines(result: AcidityResult) -> list[str]:
    k = result.potassium
    lines = [
        "",
        f"Potassium: {k.needed_mg_l.value:.0f} mg/L needed; must {k.must_mg_l.value:.0f}, feeds "
        f"{k.feeds_mg_l.value:.0f}, still short {k.short_mg_l.value:.0f}; the salt would bring "
        f"{k.dose_mg_l.value:.0f}",
        f"  By the published ratio to the acid, at the lowest pH without salt: "
        f"{_range(k.by_ratio_mg_l)}",
        f"  {k.words}",
    ]
    if result.by_source:
        lines += ["", "The same nitrogen from one source"]
        lines += [
            f"  {s.words}: {s.acid_load_meq_l.value:.1f} meq/L, trough {s.trough.band.words}, risk "
            f"{s.trough.risk}"
            for s in result.by_source
        ]
    if result.protocols:
        lines += ["", "Protocols by what they do to the acid"]
        lines += [
            f"  {p.id}: {p.ammonium_share:.0%} ammonium, {p.acid_load_meq_l.value:.1f} meq/L, "
            f"trough {p.trough.band.words}, risk {p.trough.risk}"
            for p in result.protocols
        ]
    lines += ["", "Worth measuring"]
    lines += [f"  {m.reading}: {m.words}" for m in result.measuring]
    lines += ["", "Not claimed"]
    lines += [f"  - {refusal}" for refusal in result.refusals]
    mind = (*result.cautions, *result.warnings)
    if mind:
        lines += ["", "Watch out"]
        lines += [f"  - {caution}" for caution in mind]
    return lines


def _band(band: PhBand) -> str:
    return band.words


def _range(figure: Figure) -> str:
    if figure.low is None or figure.high is None:
        return f"{figure.value:.2f} {figure.unit}"
    digits = 2 if figure.high < 10 else 0
    return f"{figure.low:.{digits}f} to {figure.high:.{digits}f} {figure.unit}"
