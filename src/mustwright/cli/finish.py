"""The `finish` commands: from dry to a safe, stable bottle, one command for each thing done."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from mustwright.cli.language import language_option
from mustwright.cli.sheets import print_answer, print_json
from mustwright.cli.speech import looked_up
from mustwright.cli.spoken_help import SpokenCommand, SpokenGroup, group
from mustwright.cli.units import units_option
from mustwright.errors import InputError
from mustwright.texts import literal, say

if TYPE_CHECKING:
    from mustwright.bench.fields import StepField
    from mustwright.bench.step import FinishingStep

QUOTED = literal("Put a value with a space in quotes: --volume '19 L'.")
WISHES = ("batch", "record", "used", "yes", "at", "note")


class StepCommands(SpokenGroup):
    """A command for each step of the bench, its options those of the step's declaration."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Names of the steps, in the order a maker meets them."""
        from mustwright.bench.step_table import STEPS

        return list(STEPS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """The command of a step."""
        from mustwright.bench.step_table import STEPS

        return _command(STEPS[cmd_name]) if cmd_name in STEPS else None


@group("finish", cls=StepCommands, context_settings={"help_option_names": ["-h", "--help"]})
def finish_command() -> None:
    """From dry mead to a safe, stable bottle: one command a step."""


def _option(one: StepField) -> click.Option:
    declared = [f"--{one.name.replace('_', '-')}", f"ask_{one.name}"]
    if one.shape == "tick":
        return click.Option(declared, is_flag=True, help=looked_up(one.help))
    metavar = "KIND" if one.choices else one.kind.metavar
    return click.Option(declared, metavar=metavar, help=looked_up(one.help), multiple=one.many)


def _as_read(one: StepField, typed: Any) -> Any:
    """What was typed; a bare volume or temperature in the chosen unit, where that is another."""
    from mustwright.unit_hints import with_unit
    from mustwright.unit_system import METRIC, current
    from mustwright.units import plainly_typed

    if one.kind.dimension and isinstance(typed, str):
        typed = plainly_typed(typed)
    is_read = one.kind.dimension in ("volume", "temperature") and isinstance(typed, str)
    return with_unit(typed, one.kind.dimension) if is_read and current() != METRIC else typed


def _command(step: FinishingStep) -> click.Command:
    asked = [one for one in step.fields if one.name != "batch"]
    sheet = [one for one in step.form_fields if one.name in step.unread]

    def callback(**typed: Any) -> None:
        explain, as_json, labels = (typed.pop(k, None) for k in ("explain", "as_json", "labels"))
        wish = {key: typed.pop(key) for key in WISHES}
        given = {one.name: _as_read(one, typed[f"ask_{one.name}"]) for one in asked}
        printing = {one.name: typed[f"ask_{one.name}"] or "" for one in sheet}

        def finish(result: object, more: Mapping[str, Any] | None = None) -> None:
            if labels:
                write_labels(result, labels, **printing)
            _show(result, explain, as_json, more or {})

        if wish["batch"] is None and not any(wish[key] for key in WISHES):
            from mustwright.bench.step_table import run_step

            finish(run_step(step.name, given))
            return
        from mustwright.cli.finish_batch import for_batch

        for_batch(step.name, given, wish, finish, as_json)

    options = [_option(one) for one in (*asked, *sheet)]
    if sheet:
        options.append(
            click.Option(["--labels"], metavar="FILE.pdf", help="Write a sheet of labels.")
        )
    options += [
        click.Option(
            ["--batch"], metavar="BATCH", help="Start from this batch's own numbers; its lot code."
        ),
        click.Option(["--record"], is_flag=True, help="It is done: record it in the batch."),
        click.Option(
            ["--used"],
            metavar="AMOUNT",
            multiple=True,
            help="What you used, if it differs: '0.9 g', or NAME=AMOUNT.",
        ),
        click.Option(["--yes"], is_flag=True, help="The amount is right, however large."),
        click.Option(["--at"], metavar="WHEN", help="When it was done; now if not given."),
        click.Option(["--note"], help="A note for the log."),
        units_option(),
        language_option(),
        click.Option(["--explain"], is_flag=True, help="Show how every figure was worked out."),
        click.Option(["--json", "as_json"], is_flag=True, help="Print one JSON object."),
    ]
    return SpokenCommand(
        step.name, params=list(options), callback=callback, short_help=looked_up(step.heading),
        help=f"{looked_up(step.heading)}\n\n{looked_up(step.about)}", epilog=QUOTED,
    )  # fmt: skip


def _show(result: object, explain: bool, as_json: bool, more: Mapping[str, Any]) -> None:
    from mustwright.bench.as_json import step_data, step_working

    if as_json:
        print_json({**step_data(result, explain), **more})
        return
    from mustwright.cli.finish_text import step_lines

    print_answer(step_lines(result), (lambda: step_working(result)) if explain else None)


def write_labels(result: Any, path: str, link: str = "", page: str = "") -> None:
    """Write the label sheet of a bottling to a file.

    Raises
    ------
    InputError
        When there is nothing to label or the file cannot be written.
    """
    from mustwright.bench.label_pdf import labels_pdf

    pdf = labels_pdf(result, link, page or "a4")
    try:
        Path(path).write_bytes(pdf)
    except OSError as error:
        raise InputError(
            "labels", say("needs a file that can be written"), error.strerror
        ) from None
