"""The `trial` command: one must in several vessels that differ in one thing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from mustwright.cli.batch_context import JSON, moment_of, opened
from mustwright.cli.numbers import NUMBER
from mustwright.cli.sheets import print_json
from mustwright.cli.speech import echo
from mustwright.cli.spoken_help import group
from mustwright.errors import InputError
from mustwright.texts import literal, say

if TYPE_CHECKING:
    from mustwright.learning.trial import TrialArm
    from mustwright.learning.trial_design import VesselSpread


_VESSEL = literal("  vessel {vessel}: arm {arm}, label {label}")
_VESSEL_OF_A_MUST = literal("  vessel {vessel}, must {must}: arm {arm}, label {label}")


@group("trial")
def trial_command() -> None:
    """Trials on your own must: what they can show, which vessel gets what, and the result."""


@trial_command.command("plan")
@click.option("--vessels", type=int, required=True, help="Vessels in all.")
@click.option("--arms", type=int, default=2, show_default=True, help="Ways to compare.")
@click.option(
    "--seed",
    type=int,
    default=1,
    show_default=True,
    help="Random seed: the same seed gives the same draw.",
)
@click.option("--pairs", is_flag=True, help="Several musts, each split in two vessels.")
@click.option("--spread", type=NUMBER, help="Your own standard deviation from vessel to vessel.")
@click.option(
    "--measure",
    help="What will be compared (days, gravity or score): your own trials then say how much "
    "vessels of one must differ.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def plan(
    vessels: int,
    arms: int,
    seed: int,
    pairs: bool,
    spread: float | None,
    measure: str | None,
    as_json: bool,
) -> None:
    """Say what a trial can show, and assign the vessels at random."""
    from mustwright.learning.tasting_json import trial_plan_data
    from mustwright.learning.tasting_text import trial_sentences
    from mustwright.learning.trial_design import plan_trial

    known = _learned(measure) if measure and spread is None else spread
    found = plan_trial(vessels, arms, seed, pairs, known)
    if as_json:
        print_json(trial_plan_data(found, seed))
        return
    for line in trial_sentences(found):
        echo(line)
    for vessel in found.allocation:
        wording = _VESSEL_OF_A_MUST if pairs else _VESSEL
        echo(
            wording.format(
                vessel=vessel.vessel, must=vessel.must, arm=vessel.arm, label=vessel.code
            )
        )


def _learned(measure: str) -> VesselSpread | None:
    with opened() as compose:
        from mustwright.services.trials import own_spread

        return own_spread(compose.notebook, measure)


MUSTS = click.option(
    "--must", "musts", multiple=True, metavar="MUST", help="A saved must; give several for pairs."
)
THING = click.option("--thing", required=True, help="What differs: protocol, yeast, ...")
ARMS = click.option(
    "--arm", "arms", multiple=True, metavar="NAME=WHAT",
    help="A protocol id for a trial of protocols, otherwise a saved must. Two or more.",
)  # fmt: skip
PROTOCOL = click.option(
    "--protocol", metavar="ID", help="The protocol of all arms, if something else is tried."
)


@trial_command.command("expect")
@MUSTS
@THING
@ARMS
@click.option("--vessels", type=int, help="Vessels in all: then also whether it would show.")
@PROTOCOL
@JSON
def expect(
    musts: tuple[str, ...],
    thing: str,
    arms: tuple[str, ...],
    vessels: int | None,
    protocol: str | None,
    as_json: bool,
) -> None:
    """Say what the forecast expects of each arm; nothing is started."""
    with opened() as compose:
        from mustwright.services import trial_forecast as use

        found = use.expected_of_arms(
            compose.cellar, thing, _arms(thing, arms), musts, protocol, compose.house_for()
        )
        if as_json:
            print_json(use.expected_data(found))
            return
        layout = use.layout_in_days(compose.notebook, vessels, len(arms), paired=len(musts) > 1)
        for line in use.expected_sentences(found, layout):
            echo(line)


@trial_command.command("start")
@click.argument("name")
@MUSTS
@THING
@ARMS
@click.option("--vessels", type=int, required=True, help="Vessels in all.")
@click.option(
    "--seed", type=int, required=True, help="Random seed: a number that is not known beforehand."
)
@PROTOCOL
@click.option("--pitched", metavar="WHEN", help="When the yeast was pitched, if it was.")
@click.option(
    "--expect", type=click.Choice(("more", "less")),
    help="What you expect of the second arm; p is then one-sided.",
)  # fmt: skip
@JSON
def start(
    name: str,
    musts: tuple[str, ...],
    thing: str,
    arms: tuple[str, ...],
    vessels: int,
    seed: int,
    protocol: str | None,
    pitched: str | None,
    expect: str | None,
    as_json: bool,
) -> None:
    """Assign vessels at random and start a batch for each; the codes stay hidden."""
    with opened() as compose:
        from mustwright.services.trial_report import trial_data, trial_lines
        from mustwright.services.trials import start_trial

        kept = start_trial(
            compose.trial_parts, name, thing, _arms(thing, arms), musts, vessels=vessels, seed=seed,
            now=compose.clock(), pitched_at=moment_of(compose, pitched) if pitched else None,
            protocol=protocol, expected=expect or "",
        )  # fmt: skip
        if as_json:
            print_json(trial_data(kept))
            return
        for line in trial_lines(kept):
            echo(line)


@trial_command.command("show")
@click.argument("trial", required=False)
@JSON
def show(trial: str | None, as_json: bool) -> None:
    """Show TRIAL; without a name, list all trials."""
    with opened() as compose:
        from mustwright.services import trials as use
        from mustwright.services.trial_report import trial_data, trial_lines

        kept = [use.trial(compose.notebook, trial)] if trial else use.trials(compose.notebook)
        if as_json:
            found = [trial_data(one) for one in kept]
            print_json(found[0] if trial else {"trials": found})
            return
        for one in kept:
            for line in trial_lines(one):
                echo(line)


@trial_command.command("open")
@click.argument("trial")
@click.option("--early", is_flag=True, help="Open although scores are missing; this is recorded.")
@JSON
def open_codes(trial: str, early: bool, as_json: bool) -> None:
    """Show which code of TRIAL held what."""
    with opened() as compose:
        from mustwright.services.trial_report import trial_data, trial_lines
        from mustwright.services.trials import open_trial

        kept = open_trial(compose.notebook, trial, compose.clock(), early=early)
        if as_json:
            print_json(trial_data(kept))
            return
        for line in trial_lines(kept):
            echo(line)


@trial_command.command("judge")
@click.argument("trial")
@click.option(
    "--measure", default="score", show_default=True,
    help="score (with --values), days (to two thirds of the sugar) or gravity (last one read).",
)  # fmt: skip
@click.option("--values", metavar="CODE=VALUE", multiple=True, help="A score under a code.")
@JSON
def judge(trial: str, measure: str, values: tuple[str, ...], as_json: bool) -> None:
    """Record scores. With the last one the codes open and the answer is shown."""
    with opened() as compose:
        from mustwright.services.trial_report import trial_data, trial_lines
        from mustwright.services.trials import judge_trial
        from mustwright.units import plainly_typed

        words = " ".join(map(plainly_typed, values)).replace(",", " ").split()
        given = dict(_typed_value(word) for word in words)
        kept, answer = judge_trial(
            compose.trial_parts, trial, compose.clock(), measure=measure, values=given
        )
        if as_json:
            print_json(trial_data(kept, answer))
            return
        for line in trial_lines(kept):
            echo(line)
        for name, mean in answer.means.items():
            echo(say("  {name}: mean {mean:.3g}", name=name, mean=mean))
        echo(answer.message)


def _arms(thing: str, typed: tuple[str, ...]) -> list[TrialArm]:
    """Arms as typed: a protocol each, or a must each."""
    from mustwright.learning.trial import TrialArm

    named = [_typed_pair(arm, "--arm") for arm in typed]
    by_protocol = thing == "protocol"
    return [
        TrialArm(key, what if by_protocol else "", "" if by_protocol else what)
        for key, what in named
    ]


def _typed_pair(text: str, field: str) -> tuple[str, str]:
    name, sign, what = text.partition("=")
    if not (sign and name.strip() and what.strip()):
        raise InputError(field, say("needs NAME=WHAT"), text)
    return name.strip(), what.strip()


def _typed_value(text: str) -> tuple[int, float]:
    code, value = _typed_pair(text, "--values")
    try:
        return int(code), float(value)
    except ValueError:
        raise InputError("--values", say("needs CODE=VALUE in numbers, as 473=7"), text) from None
