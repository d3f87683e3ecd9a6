"""Everything a maker can read: pages and commands over a lived-in cellar, helps, texts of data."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator, Mapping
from urllib.parse import urlencode

import click

from batch_pages import Cellar
from closed import QUICK, SLOW, closed_batch
from finish_cases import CASES
from mustwright import data
from mustwright.bench.step_table import PAGES
from mustwright.cli import main as cli
from mustwright.cli.batch_text import beyond_lines, proposal_lines, view_lines, watch_lines
from mustwright.cli.compare import comparison_lines
from mustwright.cli.plan import plan_lines
from mustwright.compose import Compose
from mustwright.services.batch.batch_view import look
from mustwright.services.cached_forecasts import foreseen_comparison, foreseen_plan
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


def data_texts() -> Iterator[tuple[str, list[str]]]:
    """Findings, causes, cautions, and what protocols and nutrients say of themselves."""
    watch = data.load("watch")
    for kind in ("rule", "cause"):
        for name, one in watch[kind].items():
            yield f"watch.{kind}.{name}", [v for v in one.values() if isinstance(v, str)]
    yield "cautions", [str(one["text"]) for one in data.load("cautions").values()]
    for name in ("nutrients", "strains", "tasting_terms", "finishing"):
        yield name, list(_sentences(data.load(name)))
    for name, one in data.folder("protocols").items():
        yield f"protocols.{name}", [str(one["account"]), *map(str, one["assumes"])]


def _sentences(part: object) -> Iterator[str]:
    """Texts of a record that a page shows: what is named note, caution, words, causes or text."""
    if isinstance(part, Mapping):
        for key, value in part.items():
            if key in ("note", "caution", "words", "causes", "text") and isinstance(value, str):
                yield value
            else:
                yield from _sentences(value)
    elif isinstance(part, list):
        for value in part:
            yield from _sentences(value)


def outputs(compose: Compose) -> Iterator[tuple[str, list[str]]]:
    """What the commands print for each batch and must of the cellar."""
    for record in compose.ledger.batches():
        view = look(compose.ledger, record.slug, compose.clock(), compose.local_zone)
        yield (
            f"$ batch show {record.slug}",
            [*beyond_lines(view), *view_lines(view, compose.local_zone)],
        )
        yield f"$ batch watch {record.slug}", watch_lines(view)
        yield f"$ batch replan {record.slug}", proposal_lines(view)
        yield f"$ batch next {record.slug}", [view.step.sentence, view.step.caution]
    for must in compose.cellar.records("sheet"):
        plan = foreseen_plan(compose.cellar, must.text, must.name)
        yield f"$ plan {must.key}", plan_lines(plan)
        rivals = foreseen_comparison(compose.cellar, must.text, must.name)
        yield f"$ compare {must.key}", comparison_lines(rivals)


def next_sentences(compose: Compose) -> Iterator[tuple[str, str]]:
    """The one sentence that says what to do next, for each batch of the cellar."""
    for record in compose.ledger.batches():
        view = look(compose.ledger, record.slug, compose.clock(), compose.local_zone)
        yield record.slug, view.step.sentence
