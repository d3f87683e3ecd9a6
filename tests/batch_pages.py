"""What the tests of the batch pages share: a clock, a batch, and forms read off a page."""

from __future__ import annotations

import html
import re
from datetime import UTC, datetime, timedelta

from batches import CLOVER, plan
from mustwright.batch.entries import Event, FeedGiven, Given, Reading
from mustwright.services.batch.forecaster import work_out
from mustwright.services.batch.record import start_batch, write

NOW = datetime(2031, 5, 4, 18, tzinfo=UTC)


class Cellar:
    """A batch in a cellar whose clock stands where a test puts it."""

    def __init__(self, compose) -> None:
        self.compose = compose
        self.compose.zone = UTC
        self.now = NOW
        self.compose.clock = lambda: self.now

    def keep(self, name: str, text: str) -> str:
        """Keep a must; its short name."""
        return self.compose.cellar.save("sheet", None, text, None, name).key

    def pass_hours(self, hours: float) -> None:
        self.now += timedelta(hours=hours)

    @property
    def ledger(self):
        return self.compose.ledger

    def start(self, name: str, hours: float | None, **more):
        pitched = None if hours is None else self.now - timedelta(hours=hours)
        return start_batch(
            self.ledger, more.pop("plan", plan()), name, now=self.now, pitched_at=pitched, **more
        )

    def read(self, slug: str, hours_ago: float, gravity: float, **more):
        at = self.now - timedelta(hours=hours_ago)
        return write(self.ledger, slug, Reading(gravity=gravity, **more), at=at)

    def feed(self, slug: str, hours_ago: float, key: str):
        feed = plan().feed(key)
        items = tuple(Given(d.nutrient, d.grams, d.name) for d in feed.doses)
        at = self.now - timedelta(hours=hours_ago)
        return write(self.ledger, slug, FeedGiven(items, key), at=at)

    def event(self, slug: str, hours_ago: float, what: str, **more):
        return write(
            self.ledger, slug, Event(what, **more), at=self.now - timedelta(hours=hours_ago)
        )

    def stuck(self, name: str = "Old lime") -> str:
        slug = self.start(name, 240).slug
        for hours, gravity in ((216, 1.112), (192, 1.098), (168, 1.085), (144, 1.072), (120, 1.062),
                               (96, 1.055), (48, 1.0545), (24, 1.0545), (1, 1.0545)):  # fmt: skip
            self.read(slug, hours, gravity, temperature_c=19.0)
        return slug

    def ahead(self, name: str = "Quick") -> str:
        slug = self.start(name, 60).slug
        for hours, gravity, warm in ((40, 1.105, 24.0), (20, 1.085, 26.0), (1, 1.065, 27.0)):
            self.read(slug, hours, gravity, temperature_c=warm)
        return slug

    def sour(self, name: str = "Sour") -> str:
        """Honey and water fed ammonium, its pH read, its forecast worked out."""
        slug = self.start(name, 50, plan=plan(CLOVER)).slug
        self.read(slug, 49.5, 1.100, ph=3.8)
        self.feed(slug, 39, "f1")
        self.read(slug, 24, 1.092, temperature_c=20.0)
        self.read(slug, 2, 1.080, temperature_c=20.5, ph=3.3)
        work_out(self.ledger, slug, self.now)
        return slug


def fields(page: str, action: str, n: int = 0) -> dict[str, str]:
    """What a browser would send with the n-th form of an action, its buttons left out."""
    forms = re.findall(rf'<form [^>]*action="{re.escape(action)}"[^>]*>(.*?)</form>', page, re.S)
    form = forms[n]
    found = {}
    for tag in re.findall(r"<input [^>]*>", form):
        name, value = (re.search(rf' {a}="([^"]*)"', tag) for a in ("name", "value"))
        kind = re.search(r' type="([^"]*)"', tag)
        if name and not (kind and kind[1] in ("checkbox", "file")):
            found[html.unescape(name[1])] = html.unescape(value[1]) if value else ""
    for name, text in re.findall(
        r'<textarea [^>]*name="([^"]*)"[^>]*>(.*?)</textarea>', form, re.S
    ):
        found[name] = html.unescape(text)
    for name, options in re.findall(r'<select [^>]*name="([^"]*)"[^>]*>(.*?)</select>', form, re.S):
        chosen = re.search(r'value="([^"]*)" selected', options)
        first = re.search(r'value="([^"]*)"', options)
        found[name] = html.unescape((chosen or first)[1])
    return found


def unlinked(page: str) -> str:
    """A page as its template wrote it: without the links to the glossary."""
    return re.sub(r'<a class="term" href="/glossary#\w+">(.*?)</a>', r"\1", page)


def words(page: str) -> str:
    """The text of a page, on one line."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", unlinked(page))).split())


def scripts_of_others(page: str) -> list[str]:
    """Scripts of a page that are not a file of ours, loaded after the page."""
    return re.findall(r'<script(?! src="/static/[a-z_]+\.js" defer></script>)[^>]*>', page)
