"""The `finish` commands: from dry to a safe, stable bottle, one command for each thing done."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from mustwright.cli.finish_options import WAYS, Way, work
from mustwright.cli.sheets import print_answer, print_json
from mustwright.errors import InputError

if TYPE_CHECKING:
    pass


@click.group("finish", context_settings={"help_option_names": ["-h", "--help"]})
def finish_command() -> None:
    """From dry to a safe, stable bottle: each thing done is a command."""


def _command(name: str, way: Way) -> click.Command:
    def callback(**typed: Any) -> None:
        explain, as_json = typed.pop("explain"), typed.pop("as_json")
        sheet = {key: typed.pop(key, None) for key in ("labels", "link", "page")}
        wish = {key: typed.pop(key) for key in ("batch", "record", "used", "at", "note")}
        given = {a.field: typed[f"ask_{a.field}"] for a in way.asks}

        def finish(result: object, more: Mapping[str, Any] | None = None) -> None:
            if sheet["labels"]:
                write_labels(result, sheet["labels"], sheet["link"] or "", sheet["page"] or "a4")
            _show(result, explain, as_json, more or {})

        if wish["batch"] is None and not any(wish[key] for key in ("record", "used", "at", "note")):
            finish(work(name, given))
            return
        from mustwright.cli.finish_batch import for_batch

        for_batch(name, given, wish, finish, as_json)

    options: list[click.Parameter] = []
    for ask in way.asks:
        declared = [f"--{ask.field.replace('_', '-')}", f"ask_{ask.field}"]
        if ask.flag:
            options.append(click.Option(declared, is_flag=True, help=ask.help))
        else:
            options.append(
                click.Option(declared, metavar=ask.metavar, help=ask.help, multiple=ask.many)
            )
    if name == "bottle":
        options += [
            click.Option(["--labels"], metavar="FILE.pdf", help="Write a sheet of labels."),
            click.Option(["--link"], metavar="ADDRESS", help="QR code on each label."),
            click.Option(["--page"], metavar="SIZE", help="Of the sheet: a4 or letter."),
        ]
    options += [
        click.Option(
            ["--batch"], metavar="BATCH", help="Start from this batch's own numbers; its lot code."
        ),
        click.Option(["--record"], is_flag=True, help="It is done: write it into the batch."),
        click.Option(
            ["--used"],
            metavar="AMOUNT",
            multiple=True,
            help="What was really used, where it differs: '0.9 g', or NAME=AMOUNT.",
        ),
        click.Option(["--at"], metavar="WHEN", help="When it was done; now when left out."),
        click.Option(["--note"], help="A few words for the log."),
        click.Option(["--explain"], is_flag=True, help="Show how every figure came about."),
        click.Option(["--json", "as_json"], is_flag=True, help="Print one JSON object."),
    ]
    return click.Command(name, params=options, callback=callback, help=way.help)


for _name, _way in WAYS.items():
    finish_command.add_command(_command(_name, _way))


def _show(result: object, explain: bool, as_json: bool, more: Mapping[str, Any]) -> None:
    from mustwright.bench.as_json import step_data, step_working

    if as_json:
        print_json({**step_data(result, explain), **more})
        return
    from mustwright.cli.finish_text import step_lines

    print_answer(step_lines(result), (lambda: step_working(result)) if explain else None)


def write_labels(result: Any, path: str, link: str, page: str) -> None:
    """Write the label sheet of a bottling to a file.

    Raises
    ------
    InputError
        When there is nothing to label or the file cannot be written.
    """
    from mustwright.bench.package import labels_pdf

    pdf = labels_pdf(result, link, page)
    try:
        Path(path).write_bytes(pdf)
    except OSError as error:
        raise InputError("labels", "needs a file that can be written", error.strerror) from None
