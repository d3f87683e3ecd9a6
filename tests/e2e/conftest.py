"""A real browser on real pages: any complaint of the browser fails the test.

`page` runs scripts, `plain_page` does not; both come once for a laptop and once for a phone.
"""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Error,
    Locator,
    Page,
    Request,
    sync_playwright,
)

from browser import find
from cases import is_brief
from serving import serving, wait_for_forecast

SHOTS = "MUSTWRIGHT_SHOTS"
SCREENSHOTS = Path(__file__).resolve().parents[2] / "build" / "screenshots"
FLAGS = (
    "--no-sandbox",  # Chromium as root, as in CI, starts in no other way
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
OF_COLOUR = ("color-contrast", "link-in-text-block")
VIEWPORTS = {"laptop": (1280, 900), "phone": (390, 844)}


def _settled(page: Page) -> None:
    """Wait until the document that an act may have asked for is read to its end.

    The browser waits by itself only until such a document begins to come; what is counted, or
    asked whether it is seen, would then be counted in half a page.
    """
    with contextlib.suppress(Error):  # the document goes, or has gone
        page.evaluate("0")  # behind what the act has put in the queue
    page.wait_for_load_state("domcontentloaded")


@pytest.fixture(scope="session", autouse=True)
def acts_settle() -> Iterator[None]:
    """What a person does on a page is followed by the page it leads to."""
    with pytest.MonkeyPatch.context() as patch:
        for name in ("click", "tap", "press"):
            plain = getattr(Locator, name)

            def act(self: Locator, *values: Any, plain: Any = plain, **named: Any) -> None:
                plain(self, *values, **named)
                if not self.page.is_closed():
                    _settled(self.page)

            patch.setattr(Locator, name, act)
        yield


FEW = 20  # of more pages than these, asked for on one screen only, every third outside CI


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Outside CI what is asked of many pages is asked on one screen of each, in turn."""
    if not is_brief():
        return
    both: dict[str, dict[str, dict[str, pytest.Item]]] = {}
    for item in items:
        spec = getattr(item, "callspec", None)
        given = dict(spec.params) if spec else {}
        screen = given.pop("viewport", None)
        if screen and given:
            of = both.setdefault(item.nodeid.partition("[")[0], {}).setdefault(repr(given), {})
            of[screen] = item
    dropped: set[pytest.Item] = set()
    for pages in both.values():
        pairs = [of for of in pages.values() if len(of) == len(VIEWPORTS)]
        dropped |= {of[list(VIEWPORTS)[k % 2]] for k, of in enumerate(pairs)}
        alone = [item for of in pages.values() if len(of) == 1 for item in of.values()]
        if len(alone) > FEW:
            dropped |= set(alone) - set(alone[::3])
    items[:] = [item for item in items if item not in dropped]
    config.hook.pytest_deselected(items=list(dropped))


@pytest.fixture(scope="session")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The pages over a cellar of their own, with the demo in it."""
    with serving(tmp_path_factory.mktemp("home"), "--port", "0") as found:
        wait_for_forecast(found)
        yield found


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The system's Chromium."""
    path = find()
    if path is None:
        pytest.fail("needs Chromium on PATH or named in CHROMIUM; ./check installs it on Debian")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
        yield browser
        browser.close()


class Watch:
    """What the browser complained of; a test may say what it expects."""

    def __init__(self, address: str) -> None:
        self.address = address
        self.complaints: list[str] = []
        self.expected: list[str] = []
        self.allowed: list[str] = []

    def expect(self, pattern: str) -> None:
        """Complaints that match are part of the test, and must come."""
        self.expected.append(pattern)

    def allow(self, pattern: str) -> None:
        """Complaints that match may come or not: it hangs on which of two waits ends first."""
        self.allowed.append(pattern)

    def follow(self, page: Page) -> None:
        """Listen to one page."""
        page.on("console", self._said)
        page.on("pageerror", lambda error: self.complaints.append(f"exception: {error}"))
        page.on("request", self._asked)
        page.on("crash", lambda _: self.complaints.append("the page crashed"))

    def _said(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.complaints.append(f"console {message.type}: {message.text}")

    def _asked(self, request: Request) -> None:
        if not request.url.startswith((f"{self.address}/", "data:")):
            self.complaints.append(f"request to another origin: {request.url}")

    def verdict(self) -> list[str]:
        """What was not expected, and what was expected and did not come."""
        known = self.expected + self.allowed
        wrong = [c for c in self.complaints if not any(re.search(e, c) for e in known)]
        missing = [e for e in self.expected if not any(re.search(e, c) for c in self.complaints)]
        return wrong + [f"expected, but did not come: {pattern}" for pattern in missing]


@pytest.fixture(params=list(VIEWPORTS))
def viewport(request: pytest.FixtureRequest) -> str:
    """Laptop or phone."""
    return request.param


@pytest.fixture
def watch(address: str) -> Watch:
    """What the browser complains of in this test."""
    return Watch(address)


def _opened(browser: Browser, address: str, viewport: str, scripts: bool) -> BrowserContext:
    width, height = VIEWPORTS[viewport]
    context = browser.new_context(
        base_url=address,
        viewport={"width": width, "height": height},
        java_script_enabled=scripts,
        has_touch=viewport == "phone",
        is_mobile=viewport == "phone",
    )
    context.set_default_timeout(30_000)  # a busy machine's first plan takes over ten
    return context


def _watched(context: BrowserContext, watch: Watch) -> Iterator[Page]:
    context.on("page", watch.follow)
    page = context.new_page()
    yield page
    context.close()
    assert watch.verdict() == []


@pytest.fixture
def page(browser: Browser, address: str, viewport: str, watch: Watch) -> Iterator[Page]:
    """A page that runs scripts."""
    yield from _watched(_opened(browser, address, viewport, scripts=True), watch)


@pytest.fixture
def plain_page(browser: Browser, address: str, viewport: str, watch: Watch) -> Iterator[Page]:
    """A page that runs none."""
    yield from _watched(_opened(browser, address, viewport, scripts=False), watch)


@pytest.fixture
def axe() -> Callable[..., list[str]]:
    """Accessibility rules a page breaks, of all or of some: rule, and what breaks it."""

    def broken(page: Page, *rules: str) -> list[str]:
        options = {"resultTypes": ["violations"]} | ({"runOnly": [*rules]} if rules else {})
        page.wait_for_load_state()
        found: dict[str, Any] = Axe().run(page, options=options).response
        return [
            f"{rule['id']}: {node['html']}"
            for rule in found["violations"]
            for node in rule["nodes"]
        ]

    return broken


@pytest.fixture
def in_the_dark(
    axe: Callable[..., list[str]], shoot: Callable[[Page, str], None]
) -> Callable[[Page, str], list[str]]:
    """Rules of colour a page breaks in the dark theme; the others do not depend on it."""

    def broken(page: Page, name: str) -> list[str]:
        page.emulate_media(color_scheme="dark")
        found = axe(page, *OF_COLOUR)
        shoot(page, f"{name}-dark")
        page.emulate_media(color_scheme="light")
        return found

    return broken


@pytest.fixture
def shoot(viewport: str) -> Callable[[Page, str], None]:
    """Keep a picture of the whole page under build/screenshots, where MUSTWRIGHT_SHOTS asks."""

    def taken(page: Page, name: str) -> None:
        if os.environ.get(SHOTS):
            SCREENSHOTS.mkdir(parents=True, exist_ok=True)
            page.screenshot(path=SCREENSHOTS / f"{name}-{viewport}.png", full_page=True)

    return taken
