"""A real browser on real pages: any complaint of the browser fails the test.

`page` runs scripts, `plain_page` does not; both come once for a laptop and once for a phone.
"""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Page,
    Request,
    sync_playwright,
)

from serving import serving, wait_for_forecast

SCREENSHOTS = Path(__file__).resolve().parents[2] / "build" / "screenshots"
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
FLAGS = (
    "--no-sandbox",  # Chromium as root, as in CI, starts in no other way
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
VIEWPORTS = {"laptop": (1280, 900), "phone": (390, 844)}


@pytest.fixture(scope="session")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The pages over a cellar of their own, with the demo in it."""
    with serving(tmp_path_factory.mktemp("home"), "--port", "0") as found:
        wait_for_forecast(found)
        yield found


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The system's Chromium."""
    named = (os.environ.get("CHROMIUM", ""), *NAMES)
    path = next((found for name in named if name and (found := shutil.which(name))), None)
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

    def expect(self, pattern: str) -> None:
        """Complaints that match are part of the test, and must come."""
        self.expected.append(pattern)

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
        wrong = [c for c in self.complaints if not any(re.search(e, c) for e in self.expected)]
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
    context.set_default_timeout(10_000)
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
def axe() -> Callable[[Page], list[str]]:
    """Accessibility rules a page breaks: rule, and what breaks it."""

    def broken(page: Page) -> list[str]:
        found: dict[str, Any] = Axe().run(page).response
        return [
            f"{rule['id']}: {node['html']}"
            for rule in found["violations"]
            for node in rule["nodes"]
        ]

    return broken


@pytest.fixture
def shoot(viewport: str) -> Callable[[Page, str], Path]:
    """Keep a picture of the whole page under build/screenshots."""

    def taken(page: Page, name: str) -> Path:
        SCREENSHOTS.mkdir(parents=True, exist_ok=True)
        path = SCREENSHOTS / f"{name}-{viewport}.png"
        page.screenshot(path=path, full_page=True)
        return path

    return taken
