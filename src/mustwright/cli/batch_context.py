"""What the `batch` commands share: the cellar, a batch as it stands, a moment, an answer."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from mustwright.cli.sheets import print_json
from mustwright.cli.speech import echo
from mustwright.texts import say

if TYPE_CHECKING:
    from mustwright.batch.entries import Entry
    from mustwright.batch.view import BatchView
    from mustwright.compose import Compose


JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
AT = click.option("--at", metavar="WHEN", help="now, 18:30, '2031-05-01 18:30' or ISO.")
BATCH = click.argument("slug", metavar="BATCH")
NOTE = click.option("--note", help="A note for the log.")


FORECAST = click.option(
    "--forecast",
    is_flag=True,
    help="Work out the forecast first, which takes some seconds. Otherwise the saved one is "
    "used, or the usual pace.",
)


@contextmanager
def opened() -> Iterator[Compose]:
    """The maker's cellar, closed again at the end."""
    from mustwright.compose import Compose
    from mustwright.languages import spoken
    from mustwright.unit_system import chosen

    (
        chosen(),
        spoken(),
    )  # looked up now: one cellar cannot be asked while another of this thread is read
    compose = Compose.from_environment()
    try:
        yield compose
    finally:
        compose.close()


def view_now(compose: Compose, slug: str, forecast: bool = False) -> BatchView:
    """How a batch stands now; with its forecast worked out first, if that is asked for."""
    from mustwright.services.batch.batch_view import look

    if forecast:
        from mustwright.kinetics.ready import cache_folder, warm_up
        from mustwright.services.batch.forecaster import work_out
        from mustwright.services.batch.worklist import renew_digest

        warm_up(cache_folder(compose.home))
        work_out(compose.ledger, slug, compose.clock(), compose.house_for(learn=True))
        renew_digest(compose.ledger, slug, compose.clock(), compose.local_zone)

    return look(compose.ledger, slug, compose.clock(), compose.local_zone)


def moment_of(compose: Compose, at: str | None) -> Any:
    """When, as typed; nothing typed means now."""
    from mustwright.batch.entry_fields import moment_typed

    return moment_typed(at, compose.clock(), compose.local_zone)


def told(compose: Compose, slug: str, entry: Entry, as_json: bool) -> None:
    """Print what was written and what comes next."""
    view = view_now(compose, slug)
    if as_json:
        from mustwright.batch.view_json import view_data
        from mustwright.services.batch.export_json import entry_data

        print_json({"entry": entry_data(entry), **view_data(view)})
        return
    from mustwright.cli.batch_text import beyond_lines

    for line in beyond_lines(view):
        echo(line)
    echo(say("Written ({id}). {step}", id=entry.id[:8], step=view.step.sentence))
    for finding in view.findings[len(view.beyond) :]:
        echo(
            say(
                "  ! {title} ({confidence:.0%}): {evidence}",
                title=finding.title,
                confidence=finding.confidence,
                evidence=finding.evidence,
            )
        )
