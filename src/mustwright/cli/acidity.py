"""The `acidity` command: the pH of the must, where it will go, and what steadies it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from mustwright.cli.numbers import NUMBER
from mustwright.cli.sheets import chosen_protocols, print_answer, print_json, spoken_sheet
from mustwright.cli.spoken_help import command
from mustwright.cli.units import UNITS
from mustwright.kinetics.ensemble_setting import MEMBERS, SEED
from mustwright.must.acidity.claims import ph_floor
from mustwright.texts import capital, literal, say
from mustwright.units import plainly_typed

if TYPE_CHECKING:
    from mustwright.figure import Figure
    from mustwright.planning.acidity.result import AcidityResult, DoseAnswer, PhBand


@command("acidity")
@click.argument("file", metavar="FILE")
@click.option("--ph", type=NUMBER, help="pH measured before yeast; the sheet's pH if not given.")
@click.option("--strip", is_flag=True, help="The pH was read from a paper strip.")
@click.option("--ta", metavar="AMOUNT", help="Titratable acid measured: '4 g/L' or '53 meq/L'.")
@click.option("--aim-ta", metavar="AMOUNT", help="Titratable acid wanted, with --salt.")
@click.option("--floor", type=NUMBER, default=ph_floor(), show_default=True, help="pH to keep.")
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
        titratable_g_l(_plain(ta), "--ta"),
        titratable_g_l(_plain(aim_ta), "--aim-ta"),
        floor,
        salt,
        bench_points(",".join(map(plainly_typed, bench)), "--bench"),
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
    print_answer(acidity_lines(result), (lambda: acidity_working(result)) if explain else None)


def _plain(typed: str | None) -> str | None:
    return None if typed is None else plainly_typed(typed)


def acidity_lines(result: AcidityResult) -> list[str]:
    """The answer as text for a terminal or a printer."""
    start = result.start
    how = (
        say("measured {measured_ph:g}", measured_ph=start.measured_ph.value)
        if start.measured_ph is not None
        else say("from the recipe alone, not measured")
    )
    lines: list[str] = [
        result.name,
        "",
        say("pH before yeast: {band} ({how})", band=_band(start.band), how=how),
        say(
            "Titratable acid: {acid}; to pH 7.0 {to_7}",
            acid=_range(result.titratable_acid_g_l),
            to_7=_range(result.titratable_acid_to_7_g_l),
        ),
        say("Buffer: {buffer}", buffer=_range(result.buffer_meq_l)),
        "",
        say(
            "Feeding: {name} ({protocol}) leaves {acid_load_meq_l:.1f} meq/L of acid",
            name=result.protocol_name,
            protocol=result.protocol,
            acid_load_meq_l=result.acid_load_meq_l.value,
        ),
    ]
    for feed in result.feeds:
        lines.append(
            say(
                "  {feed}: {ammonium_mg_l:.0f} ammonium and {amino_mg_l:.0f} "
                "amino mg N/L, {acid_load_meq_l:.1f} meq/L, moves the lowest pH by "
                "{moves:+.2f}",
                feed=feed.name,
                ammonium_mg_l=feed.ammonium_mg_l,
                amino_mg_l=feed.amino_mg_l,
                acid_load_meq_l=feed.acid_load_meq_l.value,
                moves=feed.moves_trough.value,
            )
        )
    trough = result.trough
    lines += [
        say(
            "Lowest pH: {ph}, reached when {used:.0%} of the sugar is gone",
            ph=trough.band.words,
            used=trough.at_sugar_used.value,
        ),
        say("  {words}.", words=capital(trough.words)),
    ]
    lines += _dose_lines(result.dose)
    lines += [say("  {in_plan}", in_plan=result.in_plan)] if result.in_plan else []
    lines += [
        say(
            "  Without it: {chance:.0%} chance of staying above it.",
            chance=result.dose.chance_without.value,
        )
    ]
    lines += _up_front_lines(result)
    if result.bench is not None:
        left = result.bench.members_left
        lines += [
            "",
            say("Bench trial, scaled to the batch ({left:.0f} possible musts fit)", left=left),
        ]
        lines += [
            say(
                "  {g_per_l:g} g/L, pH {ph:g}: {grams:.1f} g",
                g_per_l=p.g_per_l,
                ph=p.ph,
                grams=p.grams_for_batch.value,
            )
            for p in result.bench.points
        ]
    if result.aim is not None:
        lines += [
            "",
            say(
                "Acid to {aim_g_l:g} g/L: {words}",
                aim_g_l=result.aim.aim_g_l,
                words=result.aim.words,
            ),
        ]
    lines += _rest_lines(result)
    return lines


_BRINGS = literal("  Brings {potassium_mg_l:.0f} mg/L potassium; up to {gas_l:.1f} L of gas.")
_BRINGS_BOTH = literal(
    "  Brings {potassium_mg_l:.0f} mg/L potassium, {calcium_mg_l:.0f} mg/L calcium; "
    "up to {gas_l:.1f} L of gas."
)


def _dose_lines(dose: DoseAnswer) -> list[str]:
    lines: list[str] = ["", say("{salt}: {words}", salt=dose.name, words=dose.words)]
    for moment in dose.moments:
        lines.append(
            say(
                "  [ ] {grams:g} g {when}",
                grams=moment.grams.value,
                when=moment.words,
            )
        )
    lines += [say("      {i}. {step}", i=i, step=step) for i, step in enumerate(dose.steps, 1)]
    if dose.moments:
        lines.append(
            (_BRINGS_BOTH if dose.calcium_mg_l.value else _BRINGS).format(
                potassium_mg_l=dose.potassium_mg_l.value,
                calcium_mg_l=dose.calcium_mg_l.value,
                gas_l=dose.gas_l.value,
            )
        )
        if dose.chance_dip_before.value >= 0.05:
            lines.append(
                say(
                    "  Before that it may dip below the floor: "
                    "{chance:.0%} chance. If you read it below the floor, "
                    "give half at once.",
                    chance=dose.chance_dip_before.value,
                )
            )
    if dose.overshoots:
        lines.append(say("  Note: it may raise pH as far as {ph:.1f}.", ph=dose.highest.p95.value))
    lines += [say("  Law: {words}", words=words) for words in dose.law if words not in dose.words]
    return lines


def _up_front_lines(result: AcidityResult) -> list[str]:
    lines: list[str] = ["", say("{salt} before the yeast would give", salt=result.dose.name)]
    lines += [
        say("  {g_per_l:4.2f} g/L   pH {band}", g_per_l=u.g_per_l, band=_band(u.band))
        for u in result.up_front
    ]
    return [*lines, say("  {up_front_words}", up_front_words=result.up_front_words)]


def _rest_lines(result: AcidityResult) -> list[str]:
    k = result.potassium
    lines: list[str] = [
        "",
        say(
            "Potassium: {needed_mg_l:.0f} mg/L needed; must {must_mg_l:.0f}, feeds "
            "{feeds_mg_l:.0f}, still short {short_mg_l:.0f}; the salt would bring "
            "{dose_mg_l:.0f}",
            needed_mg_l=k.needed_mg_l.value,
            must_mg_l=k.must_mg_l.value,
            feeds_mg_l=k.feeds_mg_l.value,
            short_mg_l=k.short_mg_l.value,
            dose_mg_l=k.dose_mg_l.value,
        ),
        say(
            "  By the published ratio to the acid, at the lowest pH without salt: {amount}",
            amount=_range(k.by_ratio_mg_l),
        ),
        say("  {k_words}", k_words=k.words),
    ]
    if result.by_source:
        lines += ["", say("The same nitrogen from one source")]
        lines += [
            say(
                "  {source}: {acid_load_meq_l:.1f} meq/L of acid, lowest pH "
                "{ph}, crash risk {risk}",
                source=s.words,
                acid_load_meq_l=s.acid_load_meq_l.value,
                ph=s.trough.band.words,
                risk=literal(s.trough.risk, "risk"),
            )
            for s in result.by_source
        ]
    if result.protocols:
        lines += ["", say("Protocols by what they do to the acid")]
        lines += [
            say(
                "  {id}: {share:.0%} ammonium, {acid_load_meq_l:.1f} meq/L, "
                "lowest pH {ph}, crash risk {risk}",
                id=p.id,
                share=p.ammonium_share,
                acid_load_meq_l=p.acid_load_meq_l.value,
                ph=p.trough.band.words,
                risk=literal(p.trough.risk, "risk"),
            )
            for p in result.protocols
        ]
    lines += ["", say("Worth measuring")]
    lines += [
        say("  {reading}: {words}", reading=m.reading, words=m.words) for m in result.measuring
    ]
    lines += ["", say("What this does not tell")]
    lines += [say("  - {refusal}", refusal=refusal) for refusal in result.refusals]
    mind = (*result.cautions, *result.warnings)
    if mind:
        lines += ["", say("Watch out")]
        lines += [say("  - {caution}", caution=caution) for caution in mind]
    return lines


def _band(band: PhBand) -> str:
    return band.words


def _range(figure: Figure) -> str:
    if figure.low is None or figure.high is None:
        return say("{value:.2f} {unit}", value=figure.value, unit=literal(figure.unit))
    digits = 2 if figure.high < 10 else 0
    return say(
        "{low:.{digits}f} to {high:.{digits}f} {unit}",
        low=figure.low,
        digits=digits,
        high=figure.high,
        unit=literal(figure.unit),
    )
