"""Everything a maker can read: pages and commands over a lived-in cellar, helps, texts of data."""

from __future__ import annotations

import html
import io
import re
from collections.abc import Iterator, Mapping
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from urllib.parse import urlencode

import click

from batch_pages import Cellar
from closed import QUICK, SLOW, closed_batch
from finish_cases import CASES, words_of
from mustwright import data
from mustwright.bench.step_table import PAGES
from mustwright.cli import main as cli
from mustwright.cli.batch_text import beyond_lines, proposal_lines, view_lines, watch_lines
from mustwright.cli.compare import comparison_lines
from mustwright.cli.plan import plan_lines
from mustwright.compose import Compose
from mustwright.data.glossary import glossary
from mustwright.services.batch.batch_view import look
from mustwright.services.cached_forecasts import foreseen_comparison, foreseen_plan
from mustwright.services.demo import seed_demo

BLOCKS = "p|li|h[1-6]|dt|dd|tr|option|label|legend|figcaption|summary|button|title|div|section"
OF_A_MUST = (
    "",
    "/compare",
    "/compare/figures",
    "/compare/feeds",
    "/needs",
    "/acidity",
    "/acidity/working",
    "/working",
    "/what-if",
    "/start",
    "/edit",
    "/tailor",
)
OF_A_BATCH = ("", "/paper", "/links", "/import", "/replan", "/back")
PLAIN = (
    "/", "/batches", "/convert", "/finish", "/house", "/learn", "/protocols", "/shelf", "/sources",
    "/tastings", "/tastings/new", "/trials", "/trials/new", "/phone", "/musts/new", "/units",
    "/glossary", "/protocols/new", "/shelf/new", "/protocols/daily_taper_of_three", "/shelf/dap",
    "/no-such-page",
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


def pages(client, compose) -> Iterator[tuple[str, str]]:
    """Address and text of every page, as it is sent."""
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
        if "text/html" in answer.headers.get("content-type", ""):
            yield path, answer.text


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
    yield "glossary", [one.says for one in glossary().values()]
    for name in ("nutrients", "strains", "tasting_terms", "finishing"):
        yield name, list(_sentences(data.load(name)))
    for name, one in data.folder("protocols").items():
        yield f"protocols.{name}", [str(one["account"]), *map(str, one["assumes"])]


def docs() -> Iterator[tuple[str, list[str]]]:
    """The lines of what a maker may read in the repository, what is to be typed left out."""
    root = Path(__file__).parents[1]
    for path in (root / "README.md", root / "SECURITY.md", *sorted((root / "docs").glob("*.md"))):
        text = re.sub(r"```.*?```", "", path.read_text("utf-8"), flags=re.S)
        yield path.name, text.splitlines()


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


HONEY = str(Path(__file__).parents[1] / "examples" / "traditional_1100.toml")
FRUIT = str(Path(__file__).parents[1] / "examples" / "raspberry_in_primary.toml")
FEW = ("--members", "60")  # the words are the same with fewer runs
COMMANDS = (
    ("acidity", FRUIT, *FEW, "--ph", "3.3", "--ta", "5", "--salt", "tartaric", "--aim-ta", "6"),
    ("acidity", HONEY, *FEW, "--ph", "3.8", "--bench", "0.25:4.1", "--compare"),
    ("forecast", HONEY, *FEW),
    ("convert", "24 Bx", "--to", "SG"),
    ("kinds",), ("protocols",), ("glossary",), ("house", "show"), ("version",), ("batch", "list"),
)  # fmt: skip
# Slips: the words of a command, and what the sheet that it reads (SHEET) says.
SHEET = '[must]\nvolume = "19 L"\ngravity = "1.1"\n'
SLIPS = (
    (("plan", "nowhere.toml"), ""),
    (("plan", "SHEET"), "[must"),
    (("plan", "SHEET"), "[must]\nvolume = 'much'\n"),
    (("plan", "SHEET"), "[must]\nvolume = '-3 L'\ngravity = '1.1'\n"),
    (("plan", "SHEET"), "[must]\nvolume = '19 L'\ngravity = '2.4'\n"),
    (("plan", "SHEET"), "[must]\nvolume = '19 L'\n"),
    (("plan", "SHEET"), SHEET + "temperature = '90 C'\n"),
    (("plan", "SHEET"), SHEET + "[[must.ingredient]]\nkind = 'gravel'\namount = '2 kg'\n"),
    (("plan", "SHEET"), SHEET + "[[must.ingredient]]\nkind = 'water'\namount = 'some'\n"),
    (("plan", "SHEET"), SHEET + "[yeast]\nkind = 'gravel'\n"),
    (("plan", "SHEET"), SHEET + "[yeast]\namount = '-5 g'\n"),
    (("plan", "SHEET"), SHEET + "[shelf]\ngravel = true\n"),
    (("plan", "SHEET"), SHEET + "[shelf]\ndap = { stock = 'much' }\n"),
    (("plan", "SHEET"), SHEET + "[legal]\nprofile = 'moon'\n"),
    (("plan", "SHEET"), SHEET + "[measured]\nph = 12\n"),
    (("plan", "SHEET"), SHEET + "[vessel]\nroom = '90 C'\n"),
    (("plan", "SHEET", "--protocol", "gravel"), SHEET),
    (("forecast", "SHEET", "--at", "soon"), SHEET),
    (("acidity", "SHEET", "--ph", "12"), SHEET),
    (("convert", "24 Bx", "--to", "lb"), ""),
    (("convert", "much", "--to", "SG"), ""),
    (("glossary", "gravel"), ""),
    (("protocols", "show", "gravel"), ""),
    (("protocols", "check", "SHEET"), SHEET),
    (("batch", "show", "nobody"), ""),
    (("batch", "start", "SHEET", "--pitched", "soon"), SHEET),
    (("finish", "sulfite", "--volume", "much"), ""),
    (("finish", "sulfite", "--volume", "19 L", "--ph", "9"), ""),
    (("finish", "rack"), ""),
    (("finish", "carbonate", "--volume", "19 L", "--bottle", "gravel"), ""),
    (("plan", "--sideways", "SHEET"), SHEET),
    (("nonsense",), ""),
)


def _ran(words: tuple[str, ...]) -> tuple[int, list[str], list[str]]:
    """Exit code, lines on stdout and on stderr of a command."""
    out, wrong = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(wrong):
        code = cli.run(list(words))
    return code, out.getvalue().splitlines(), wrong.getvalue().splitlines()


def printed() -> Iterator[tuple[str, list[str]]]:
    """What the commands print that need no lived-in cellar: every finishing step, acid, lists."""
    for case, (_, step, fields) in CASES.items():
        if fields and step != "stable":
            code, lines, _ = _ran(tuple(words_of(case)))
            assert code == 0, case
            yield f"$ finish {case}", lines
    for words in COMMANDS:
        code, lines, wrong = _ran(words)
        assert code == 0, (words, wrong)
        yield f"$ {' '.join(words)}", lines


def refusals(folder: Path) -> Iterator[tuple[str, list[str]]]:
    """The line with which each slip is refused."""
    sheet = folder / "slip.toml"
    for words, text in SLIPS:
        sheet.write_text(text, encoding="utf-8")
        code, _, wrong = _ran(tuple(str(sheet) if w == "SHEET" else w for w in words))
        assert code == 2, (words, text)
        yield f"{' '.join(words)} with {text!r}", wrong[-1:]
