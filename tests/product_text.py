"""Everything a maker can read: each page over a lived-in cellar, each command's help."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from urllib.parse import urlencode

import click

from batch_pages import Cellar
from closed import QUICK, SLOW, closed_batch
from finish_cases import CASES
from mustwright.bench.step_table import PAGES
from mustwright.cli import main as cli
from mustwright.services.demo import seed_demo

BLOCKS = "p|li|h[1-6]|dt|dd|tr|option|label|legend|figcaption|summary|button|title|div|section"
OF_A_MUST = ("", "/compare", "/acidity", "/acidity/working", "/working", "/what-if", "/start")
OF_A_BATCH = ("", "/paper", "/links", "/import", "/replan", "/back")
PLAIN = (
    "/", "/batches", "/convert", "/finish", "/house", "/learn", "/protocols", "/shelf", "/sources",
    "/tastings", "/tastings/new", "/trials", "/trials/new", "/phone", "/new",
)  # fmt: skip


def lines_of(page: str) -> list[str]:
    """The text of a page, a line for each block."""
    page = re.sub(r"<(script|style|svg)\b.*?</\1>", "", page, flags=re.S)
    page = re.sub(rf"</?(?:{BLOCKS})\b[^>]*>", "\n", page)
    page = re.sub(r"</t[dh]>", " | ", page)
    lines = html.unescape(re.sub(r"<[^>]+>", "", page)).split("\n")
    return [" ".join(line.split()) for line in lines if line.strip(" |\n\t")]


def live(compose) -> list[str]:
    """A cellar with batches in every phase; their names in addresses."""
    cellar = Cellar(compose)
    seed_demo(compose.cellar)
    slugs = [cellar.stuck(), cellar.ahead(), cellar.sour()]
    slugs.append(cellar.start("Not pitched", None).slug)
    forgotten = cellar.start("Forgotten", 24 * 9).slug
    slugs.append(forgotten)
    slugs.append(closed_batch(cellar, "Slow one", SLOW))
    done = cellar.start("Done", 24 * 30).slug
    for at, gravity in (*QUICK, (480, 0.996), (650, 0.996)):
        cellar.read(done, 720 - at, gravity, temperature_c=20.0, ph=3.4)
    return [*slugs, done]


def pages(client, compose) -> Iterator[tuple[str, list[str]]]:
    """Address and lines of every page."""
    batches = live(compose)
    musts = [r.key for r in compose.cellar.records("sheet")]
    paths = [*PLAIN, *(f"/musts/{m}{end}" for m in musts for end in OF_A_MUST)]
    paths += [f"/batches/{b}{end}" for b in batches for end in OF_A_BATCH]
    paths += [f"/finish/{slug}" for slug in PAGES]
    paths += [f"/finish/{slug}?batch={batches[-1]}" for slug in PAGES]
    for _, slug, fields in CASES.values():
        if slug in PAGES:
            paths.append(f"/finish/{slug}?{urlencode(fields | {'show': '1'})}")
    for path in dict.fromkeys(paths):
        answer = client.get(path)
        assert answer.status_code < 500, path
        if answer.status_code == 200:
            yield path, lines_of(answer.text)


def helps() -> Iterator[tuple[str, list[str]]]:
    """Each command with the lines of its help."""
    yield from _help(cli.root, ("mustwright",), None)


def _help(
    command: click.Command, path: tuple[str, ...], parent: click.Context | None
) -> Iterator[tuple[str, list[str]]]:
    context = click.Context(command, parent, path[-1])
    yield " ".join(path), command.get_help(context).splitlines()
    if isinstance(command, click.Group):
        for name in command.list_commands(context):
            found = command.get_command(context, name)
            if found is not None:
                yield from _help(found, (*path, name), context)
