"""Wet hands and no network: kept pages, entries that wait, sent once; nothing after signing out."""

from __future__ import annotations

import contextlib
import re
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Error

from batch_pages import Cellar
from mustwright.compose import Compose
from mustwright.kinetics import ready
from mustwright.services.access import set_passphrase
from mustwright.web.access import Access
from playing import answering

PHONE = pytest.mark.parametrize("viewport", ["phone"], indirect=True)
AWAY = r"ERR_(CONNECTION_REFUSED|FAILED|INTERNET_DISCONNECTED|CONNECTION_RESET|EMPTY_RESPONSE)"
KEPT = """(path) => navigator.serviceWorker.ready.then(() => new Promise((done) => {
  const look = async () => {
    const kept = await (await caches.open("pages")).keys();
    const found = kept.some((one) => new URL(one.url).pathname === path);
    if (found) done(true);
    else setTimeout(look, 50);
  };
  look();
}))"""


def wait_until_kept(page, path: str) -> None:
    """The device keeps a copy of this page, and its worker runs."""
    page.wait_for_function(KEPT, arg=path)


class Pages:
    """The pages of one cellar, which can be taken off the network and brought back."""

    def __init__(self, folder, access: Access | None = None) -> None:
        self.cellar = Cellar(Compose(folder))
        self.cellar.now = datetime.now(UTC)  # the browser stamps entries with its own clock
        self.access, self.port = access, 0
        self._open = contextlib.ExitStack()
        self.up()

    def up(self) -> None:
        self.port = self._open.enter_context(answering(self.cellar.compose, self.port, self.access))

    def down(self) -> None:
        self._open.close()
        self._open = contextlib.ExitStack()

    def readings(self, slug: str) -> list[float]:
        log = self.cellar.ledger.log(slug)
        return [e.what.gravity for e in log if e.what.kind == "reading"]


@pytest.fixture
def pages(tmp_path):
    ready.warm_up()
    pages = Pages(tmp_path)
    yield pages
    pages.down()
    pages.cellar.compose.close()


@pytest.fixture
def address(pages):
    return f"http://127.0.0.1:{pages.port}"


def written(page, pages, expected: list[float]) -> None:
    """Wait until the log holds these readings and no others."""
    for _ in range(100):
        if pages.readings("heather") == expected:
            break
        page.wait_for_timeout(50)
    assert pages.readings("heather") == expected


def reopen(page, path: str) -> None:
    """Open a page that may be reloading itself just now, because something was sent."""
    try:
        page.goto(path)
    except Error as error:
        if "ERR_ABORTED" not in str(error) and "interrupted" not in str(error):
            raise
        page.goto(path)


def write_reading(page, gravity: str) -> None:
    page.get_by_label("Gravity").first.fill(gravity)
    page.get_by_role("button", name="Save the reading").click()


@PHONE
def test_a_reading_without_a_network_is_sent_once(page, pages, watch, shoot):
    pages.cellar.start("Heather", 40)
    pages.cellar.read("heather", 20, 1.110)
    page.goto("/batches/heather")
    wait_until_kept(page, "/batches/heather")
    pages.down()
    watch.allow(AWAY)

    # The kept copy says what it is, and takes a reading.
    page.goto("/batches/heather")
    banner = page.locator(".kept-copy")
    assert "This is a copy from" in banner.inner_text()
    write_reading(page, "1.104")
    banner.get_by_text("Waiting to be sent").wait_for()
    assert "gravity 1.104" in banner.inner_text()
    write_reading(page, "1.103")
    link = page.get_by_role("link", name="2 entries wait on this device")
    link.wait_for()
    shoot(page, "offline-batch")
    dated = re.compile(r"[A-Z][a-z]+day,? \d+ [A-Z][a-z]+\D+\d\d:\d\d")
    waits = banner.locator("li").all_inner_texts()
    link.click()
    page.locator("#kept-entries li").nth(1).wait_for()
    assert page.locator("#kept-entries li").count() == 2
    listed = page.locator("#kept-entries .soft").all_inner_texts()
    assert len(waits) >= 1
    assert [one for one in (*waits, *listed) if not dated.search(one)] == []
    shoot(page, "offline-kept")
    assert pages.readings("heather") == [1.110]

    # The connection is back: both are written, each once, whatever is sent again.
    pages.up()
    reopen(page, "/kept")
    written(page, pages, [1.110, 1.104, 1.103])
    page.locator("#kept-none").wait_for()
    page.evaluate("() => waiting.send_all()")
    written(page, pages, [1.110, 1.104, 1.103])
    reopen(page, "/batches/heather")
    assert page.locator(".kept-copy").count() == 0
    assert "1.103" in page.locator(".log").inner_text()


@PHONE
def test_an_entry_whose_answer_was_lost_is_not_written_twice(page, pages):
    pages.cellar.start("Heather", 40)
    page.goto("/batches/heather")
    wait_until_kept(page, "/batches/heather")
    pairs = page.evaluate(
        """() => [...new FormData(document.querySelector("form.quick"))]
          .map(([n, v]) => [n, n === "gravity" ? "1.101" : v])"""
    )
    page.evaluate(
        """(pairs) => fetch("/batches/heather/reading",
          { method: "POST", body: new URLSearchParams(pairs), redirect: "manual" })""",
        pairs,
    )
    assert pages.readings("heather") == [1.101]
    page.evaluate('(pairs) => waiting.keep("/batches/heather/reading", pairs)', pairs)
    assert page.evaluate("() => waiting.send_all()")["sent"] == 1
    assert pages.readings("heather") == [1.101]


@PHONE
def test_a_refused_entry_says_why_and_is_mended_on_the_device(page, pages, watch):
    watch.expect("422")
    pages.cellar.start("Heather", 40)
    page.goto("/kept")
    page.evaluate('() => waiting.keep("/batches/heather/reading", [["gravity", "1.9"]])')
    page.reload()
    page.locator("#kept-entries .wrong").wait_for()
    assert "0.95 to 1.25" in page.locator("#kept-entries").inner_text()
    page.get_by_label("gravity").fill("1.09")
    page.get_by_role("button", name="Send it again").click()
    page.locator("#kept-none").wait_for()
    written(page, pages, [1.09])


@PHONE
def test_an_open_page_keeps_an_entry_without_a_worker(page, pages, watch):
    """As on a phone that reached the pages by plain http, where no worker may run."""
    page.add_init_script("delete Navigator.prototype.serviceWorker")
    pages.cellar.start("Heather", 40)
    page.goto("/batches/heather")
    pages.down()
    watch.allow(AWAY)
    write_reading(page, "1.102")
    page.get_by_text("the entry is kept here and sent later").wait_for()
    pages.up()
    with page.expect_navigation():  # it is reloaded when it has sent
        page.evaluate('() => window.dispatchEvent(new Event("online"))')
    written(page, pages, [1.102])
    # With a network the form goes the usual way.
    page.goto("/batches/heather")
    write_reading(page, "1.100")
    page.locator(".notice").wait_for()
    assert pages.readings("heather") == [1.102, 1.100]


@PHONE
def test_timers_run_without_a_network_and_the_pitch_is_sent(page, pages, watch, shoot):
    pages.cellar.start("Heather", None)
    page.goto("/batches/heather")
    wait_until_kept(page, "/batches/heather/rehydrate")
    pages.down()
    watch.allow(AWAY)
    page.get_by_role("link", name="Timers for rehydration").click()
    page.get_by_role("button", name="Start 20 minutes: Yeast").click()
    face = page.locator(".timer .face").first
    face.get_by_text(re.compile(r"(20:00|19:\d\d) left, ready at \d\d:\d\d")).wait_for()
    shoot(page, "timers")
    page.reload()
    face.get_by_text("left, ready at").wait_for()
    page.evaluate("""() => { for (const key of Object.keys(localStorage))
      if (key.startsWith("timer ")) localStorage.setItem(key, String(Date.now() - 1000)) }""")
    page.reload()
    face.get_by_text("Ready since").wait_for()
    page.get_by_role("button", name="The yeast is in the must, now").click()
    page.locator(".kept-copy").get_by_text("pitched").wait_for()
    pages.up()
    reopen(page, "/kept")
    for _ in range(100):
        events = [e.what for e in pages.cellar.ledger.log("heather") if e.what.kind == "event"]
        if events:
            break
        page.wait_for_timeout(50)
    assert [event.what for event in events] == ["pitched"]


@pytest.fixture
def locked(tmp_path):
    ready.warm_up()
    pages = Pages(tmp_path, Access(is_locked=True))
    set_passphrase(pages.cellar.ledger, "four plain words here")
    yield pages
    pages.down()
    pages.cellar.compose.close()


def test_nothing_is_shown_after_signing_out(browser, locked):
    address = f"http://127.0.0.1:{locked.port}"
    locked.cellar.start("Heather", 40)
    context = browser.new_context(base_url=address)
    page = context.new_page()
    page.goto("/batches/heather")
    page.get_by_label("Passphrase").fill("four plain words here")
    page.get_by_role("button", name="Sign in").click()
    page.goto("/batches/heather")
    wait_until_kept(page, "/batches/heather")
    locked.down()
    page.goto("/batches/heather")
    assert page.locator(".kept-copy").count() == 1
    write_reading(page, "1.104")
    page.locator(".kept-copy").get_by_text("gravity 1.104").wait_for()
    # The session ends elsewhere: the entry waits until someone signs in, then is sent.
    locked.cellar.ledger.end_sessions()
    locked.up()
    reopen(page, "/batches/heather")
    page.get_by_label("Passphrase").fill("four plain words here")
    page.locator("#waiting").get_by_text("Sign in to send").wait_for()
    assert locked.readings("heather") == []
    page.get_by_role("button", name="Sign in").click()
    written(page, locked, [1.104])
    page.locator(".log").get_by_text("1.104").first.wait_for(state="attached")  # folded
    reopen(page, "/batches/heather")
    wait_until_kept(page, "/batches/heather")
    page.get_by_role("button", name="Sign out").click()
    page.get_by_label("Passphrase").wait_for()
    locked.down()
    page.goto("/batches/heather")
    assert "not kept on this device" in page.locator(".kept-copy").inner_text()
    assert "Heather" not in page.content()
    context.close()
