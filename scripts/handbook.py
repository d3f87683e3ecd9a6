"""The handbook: docs/handbook.md is its text; this makes the page of the product from it.

    python scripts/handbook.py      # after a change of a text or of a picture

Its translations stand beside it, with the language before the ending (``handbook.de.md``), and
each makes a page of its own. They have the same commands, files and days; what a command prints
is told in their sentences.

Within the text, a fence ``sh`` holds commands, ``prints`` what they printed (each line is a part
of it), ``toml NAME`` a file that they read, and a comment ``<!-- day 9 -->`` what day it is from
there.
"""

from __future__ import annotations

import io
import os
import re
import shlex
import sys
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
TEXT = ROOT / "docs" / "handbook.md"
PAGE = ROOT / "src/mustwright/web/templates/handbook_text.html"
TRANSLATIONS = sorted(TEXT.parent.glob("handbook.*.md"))
PICTURES = ROOT / "src/mustwright/web/static/handbook"
BEGUN = datetime(2031, 3, 1, 18, tzinfo=UTC)
_PART = re.compile(r"<!-- day (\d+) -->|```(sh|prints|toml) ?([\w.-]*)\n(.*?)```", re.S)


@dataclass(frozen=True)
class Part:
    """A piece of the text that a test or a picture plays: its kind, day and lines."""

    kind: str
    day: int
    name: str
    text: str

    @property
    def lines(self) -> list[str]:
        """Without the empty ones."""
        return [line for line in self.text.splitlines() if line.strip()]


def parts(source: Path = TEXT) -> Iterator[Part]:
    """Commands, what they printed, and files, in the order of the text."""
    day = 0
    for found in _PART.finditer(source.read_text("utf-8")):
        if found[1]:
            day = int(found[1])
        else:
            yield Part(found[2], day, found[3], found[4])


class Player:
    """Runs the commands of the handbook in a folder of its own, on the days it says."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.now, self.printed = folder, BEGUN, ""

    @contextmanager
    def ready(self) -> Iterator[Player]:
        """With the cellar in the folder and the clock where the text is."""
        import mustwright.compose as compose

        before, here, clock = dict(os.environ), Path.cwd(), compose.WatchedClock
        os.environ |= {"MUSTWRIGHT_HOME": str(self.folder / "home"), "TZ": "UTC"}
        os.chdir(self.folder)
        compose.WatchedClock = lambda _say: lambda: self.now  # type: ignore[assignment, misc]
        try:
            yield self
        finally:
            compose.WatchedClock = clock  # type: ignore[misc]
            os.chdir(here)
            os.environ.clear()
            os.environ.update(before)

    def play(self, part: Part) -> list[str]:
        """Run a part, or look whether it was printed; gives what is wrong with it."""
        self.now = BEGUN + timedelta(days=part.day)
        if part.kind == "toml":
            (self.folder / part.name).write_text(part.text, encoding="utf-8")
            return []
        if part.kind == "prints":
            said = " ".join(self.printed.split())
            return [f"not printed: {line}" for line in part.lines if _plain(line) not in said]
        return [wrong for line in part.lines if (wrong := self.run(line))]

    def run(self, line: str) -> str:
        """Run one command as it is typed; what went wrong, empty where nothing did."""
        from mustwright.cli.main import run

        program, *words = shlex.split(line)
        out = io.StringIO()
        with redirect_stdout(out), redirect_stderr(out):
            code = run(words) if program == "mustwright" else 127
        self.printed += out.getvalue()
        return f"{line}: {out.getvalue()}" if code else ""


def _plain(line: str) -> str:
    return " ".join(line.split())


def page_of(source: Path) -> Path:
    """The page that a text is made into."""
    language = source.name.removeprefix(TEXT.stem).removesuffix(TEXT.suffix)
    return PAGE.with_suffix(f"{language}{PAGE.suffix}")


def page(source: Path = TEXT) -> str:
    """A text as the body of a page."""
    from markdown_it import MarkdownIt

    text = re.sub(r"<!--.*?-->\n?", "", source.read_text("utf-8"), flags=re.S)
    text = re.sub(r"\]\(\.\./src/mustwright/web/static/", "](/static/", text)
    text = re.sub(r"\[([^\]]+)\]\((\w+)\.md\)", r"\1 (docs/\2.md)", text)
    made = MarkdownIt("commonmark", {"html": False}).render(text)
    made = re.sub(r"<pre><code class=\"language-(\w+)\">", r'<pre class="\1"><code>', made)
    made = made.replace("<blockquote>", '<div class="caution">').replace("</blockquote>", "</div>")
    made = re.sub(r'<img src="/static/handbook/([\w.]+)"', _sized, made)
    return f"{{# Made from docs/{source.name} by scripts/handbook.py #}}\n{made}"


def _sized(found: re.Match[str]) -> str:
    """A picture with its size, so that the page does not jump as it comes."""
    from PIL import Image

    with Image.open(PICTURES / found[1]) as picture:
        width, height = picture.size
    return f'{found[0]} width="{width}" height="{height}"'


def main() -> int:
    """Write the pages."""
    for source in (TEXT, *TRANSLATIONS):
        made = page_of(source)
        made.write_text(page(source), encoding="utf-8")
        print(made.relative_to(ROOT))
    return 0


if __name__ == "__main__":
    sys.exit(main())
