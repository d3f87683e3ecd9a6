"""A newcomer to a first plan and a reading from the first page, counted in taps and fields."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from screens import over_the_edge
from serving import serving, wait_for_forecast

PHONE = pytest.mark.parametrize("viewport", ["phone"], indirect=True)


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """An empty cellar."""
    with serving(tmp_path_factory.mktemp("empty"), "--port", "0", "--no-seed") as found:
        wait_for_forecast(found)
        yield found


class Thumb:
    """Counts what a person does."""

    def __init__(self, page) -> None:
        self.page, self.taps, self.filled = page, 0, 0

    def tap(self, target) -> None:
        target.wait_for()
        self.page.wait_for_load_state()  # its style too
        box = target.bounding_box()
        assert box["height"] >= 43.5, target
        self.taps += 1
        target.tap() if self.page.viewport_size["width"] == 390 else target.click()

    def fill(self, target, text: str) -> None:
        self.tap(target)
        self.filled += 1
        target.fill(text)


@PHONE
def test_from_nothing_to_a_plan_and_a_reading(page, shoot, axe):
    page.goto("/")
    thumb = Thumb(page)
    thumb.tap(page.get_by_role("link", name="First time? Five questions"))
    page.get_by_role("heading", name="Your first plan").wait_for()
    shoot(page, "first-questions")
    assert axe(page) == []
    assert over_the_edge(page) <= 0
    thumb.fill(page.get_by_label("1. How much do you want to make?"), "10 L")
    thumb.tap(page.get_by_text("Ammonium phosphate").first)
    thumb.tap(page.get_by_text("Autolysed-yeast nutrient").first)
    thumb.tap(page.get_by_role("button", name="Show the plan"))
    assert "Dry about day" in page.locator(".next").inner_text()
    expect(page.locator(".steps").get_by_role("heading", name="Mix")).to_be_visible()
    assert "generic nutrients because" not in page.content()
    assert thumb.taps <= 10
    assert thumb.filled <= 5

    # The batch begins; later a reading from the first page takes three taps.
    page.get_by_role("link", name="Start a batch from this plan").first.click()
    page.get_by_role("button", name="Start the batch").click()
    page.goto("/")
    thumb = Thumb(page)
    thumb.tap(page.locator(".today").get_by_role("link", name="Mead of").first)
    thumb.fill(page.get_by_label("Gravity").first, "1.085")
    thumb.tap(page.get_by_role("button", name="Save the reading"))
    page.get_by_text("Written down.").wait_for()
    assert thumb.taps <= 3


def tab_to(page, selector: str) -> None:
    """Press Tab until an element has the focus, which must be seen."""
    for _ in range(90):
        page.keyboard.press("Tab")
        if page.evaluate("(s) => document.activeElement.matches(s)", selector):
            ring = "getComputedStyle(document.activeElement).outlineStyle"
            assert page.evaluate(ring) == "solid", selector
            return
    raise AssertionError(f"no Tab leads to {selector}")


@pytest.mark.parametrize("viewport", ["laptop"], indirect=True)
def test_from_nothing_to_a_plan_and_a_reading_by_keyboard_alone(page):
    keys = page.keyboard
    page.goto("/")
    tab_to(page, "a[href='/musts/new/first']")
    keys.press("Enter")
    page.wait_for_url("**/musts/new/first")
    tab_to(page, "#volume")
    keys.type("10 L")
    tab_to(page, "input[value=dap]")
    keys.press("Space")
    keys.press("Enter")
    page.wait_for_url(re.compile(r"/musts/mead-of-[^/]*$"))
    tab_to(page, "a.button[href*='/start']")
    keys.press("Enter")
    page.wait_for_url("**/start?*")
    tab_to(page, "#start-name")
    keys.press("End")
    keys.type(" by keyboard")
    keys.press("Enter")
    page.wait_for_url("**/batches/*")
    tab_to(page, "#reading-gravity")
    keys.type("1.085")
    keys.press("Enter")
    page.get_by_text("Written down.").wait_for()
    assert "1.085" in page.locator(".notice").first.inner_text()


def test_a_half_filled_form_survives(page, watch):
    watch.expect("422")
    page.goto("/musts/new")
    page.get_by_label("Name", exact=True).press_sequentially("Moorland")
    page.get_by_label("Volume before pitching").press_sequentially("12 L")
    page.wait_for_timeout(300)
    # Another page, and back by its address: a new page in every way
    page.goto("/shelf")
    page.goto("/musts/new")
    assert page.get_by_label("Name", exact=True).input_value() == "Moorland"
    assert page.get_by_label("Volume before pitching").input_value() == "12 L"
    page.get_by_text("What you had typed here").wait_for()
    # A refusal keeps it, and leaving the refusal too.
    page.get_by_label("Target", exact=True).press_sequentially("1.9")
    page.locator(".actions button").click()
    page.locator("#stop").wait_for()
    page.goto("/shelf")
    page.goto("/musts/new")
    assert page.get_by_label("Target", exact=True).input_value() == "1.9"
    # Rows that the server added come back through the server.
    page.get_by_role("button", name="One more ingredient").click()
    page.get_by_label("Ingredient", exact=True).nth(2).press_sequentially("apple juice")
    page.wait_for_timeout(300)
    page.goto("/shelf")
    page.goto("/musts/new")
    page.get_by_role("button", name="Fill it in again").click()
    page.get_by_label("Ingredient", exact=True).nth(2).wait_for()
    page.wait_for_load_state()  # what was typed is filled in by a script
    assert page.get_by_label("Ingredient", exact=True).nth(2).input_value() == "apple juice"
    assert page.get_by_label("Name", exact=True).input_value() == "Moorland"
    # Sent: nothing is left.
    page.get_by_label("Ingredient", exact=True).nth(0).fill("heather honey")
    page.get_by_label("Ingredient", exact=True).nth(2).fill("")
    page.get_by_label("Target", exact=True).fill("1.090")
    if page.get_by_label("Use generic kinds").count():
        page.get_by_label("Use generic kinds").check()
    page.locator(".actions button").click()
    page.locator(".next").wait_for()
    page.goto("/musts/new")
    assert page.get_by_label("Name", exact=True).input_value() == ""


@PHONE
def test_an_entry_that_was_sent_is_not_filled_in_again(page):
    page.goto("/musts/new/first")
    page.get_by_label("1. How much do you want to make?").fill("5 L")
    page.get_by_role("button", name="Show the plan").click()
    page.get_by_role("link", name="Start a batch from this plan").first.click()
    page.get_by_label("Name of the batch").fill("Hasty")
    page.get_by_role("button", name="Start the batch").click()
    here = page.url.split("?")[0]
    # Sent, and left before the page that answers had run anything.
    page.get_by_label("Gravity").first.press_sequentially("1.077")
    page.evaluate("""async () => {
      const form = document.querySelector("form.quick");
      form.addEventListener("submit", (event) => event.preventDefault());
      form.requestSubmit();
      await fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)) });
    }""")
    page.goto(here)
    assert "1.077" in page.locator(".log").inner_text()
    assert page.get_by_label("Gravity").first.input_value() == ""


def test_gravity_and_alcohol_follow_the_typing(page):
    page.goto("/musts/new")
    page.get_by_label("Volume before pitching").press_sequentially("20 L")
    page.get_by_label("Target", exact=True).press_sequentially("1.100")
    page.get_by_label("Ingredient", exact=True).first.press_sequentially("honey")
    page.locator("#sum").get_by_text("% vol").wait_for()
    assert "1.100" in page.locator("#sum").inner_text()
    page.get_by_label("Target", exact=True).fill("1.080")
    page.locator("#sum").get_by_text("1.080").wait_for()
