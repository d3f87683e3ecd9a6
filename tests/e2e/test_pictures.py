"""Pictures that answer: values by thumb, mouse and arrow key; a protocol brought forward."""

from __future__ import annotations

import io
import re

import pytest
from playwright.sync_api import expect
from pypdf import PdfReader

PLAN, COMPARE = "/musts/dry-lane-mead", "/musts/dry-lane-mead/compare"


def cursor(page) -> str:
    """Where the line through the picture that is seen stands."""
    return page.locator("svg[data-axis] .cursor").first.get_attribute("d")


def test_arrow_keys_and_pointer_read_values_that_stand_in_the_table(page):
    page.goto(COMPARE)
    said, slider = page.locator(".read-out"), page.get_by_label("Read the picture at")
    slider.focus()
    page.keyboard.press("Home")
    first = said.inner_text()
    assert first.startswith("at pitch: ")
    page.keyboard.press("ArrowRight")
    assert said.inner_text() != first
    assert slider.get_attribute("aria-valuetext") == said.inner_text()
    svg = page.locator("svg[data-axis]:visible").first
    before, box = cursor(page), svg.bounding_box()
    svg.click(position={"x": box["width"] * 0.5, "y": box["height"] / 2})
    assert cursor(page) != before
    when, name, value = re.fullmatch(r"(.+?): (.+) (\d\.\d+)", said.inner_text()).groups()
    table = page.locator("table.values")
    heads = [one.strip() for one in table.locator("thead th").all_text_contents()]
    row = table.locator("tbody tr", has_text=name).first
    assert row.locator("td").nth(heads.index(when) - 1).text_content() == value


def test_a_tap_on_a_name_brings_its_curve_forward_and_a_second_puts_it_back(page):
    page.goto(COMPARE)
    name = page.locator(".bundles a[data-curve]:not([aria-current=true]):visible").first
    key = name.get_attribute("data-curve")
    name = page.locator(f"a[data-curve={key}]")
    curve = page.locator(f"svg:visible path[data-curve={key}]")
    assert "front" not in curve.get_attribute("class")
    name.click()
    assert "front" in curve.get_attribute("class")
    assert name.text_content() in page.locator(".read-out").inner_text()
    assert page.url.endswith("/compare")
    name.click()
    assert "front" not in curve.get_attribute("class")


def test_without_scripts_the_link_brings_it_forward_and_the_table_has_the_values(plain_page):
    page = plain_page
    page.goto(COMPARE)
    assert page.locator(".read-off").count() == 0
    name = page.locator(".bundles a[data-curve]:not([aria-current]):visible").first
    words = name.text_content()
    name.click()
    assert "beside=" in page.url
    assert words in page.locator(".bundles a[aria-current=true]").last.text_content()
    page.get_by_text("The picture in figures").click()
    expect(page.locator("table.values td").first).to_be_visible()


def test_the_plan_reads_its_pictures_once_they_are_unfolded(page, axe):
    page.goto(PLAN)
    page.get_by_role("heading", name="What it will do").click()
    slider = page.locator("details[open] .read-off input")
    slider.press("End")
    assert "nine in ten" in page.locator("details[open] .read-out").inner_text()
    assert axe(page) == []


def test_a_link_to_what_is_folded_unfolds_it(plain_page):
    plain_page.goto("/sources#safety")
    assert plain_page.get_by_text("Powder dropped into a gassy must").first.is_visible()


@pytest.mark.parametrize("viewport", ["laptop"], indirect=True)
def test_paper_has_what_is_folded(plain_page):
    plain_page.emulate_media(media="print")
    plain_page.goto(PLAN)
    pages = PdfReader(io.BytesIO(plain_page.pdf())).pages
    text = " ".join(" ".join(one.extract_text() for one in pages).split())
    for words in ("Cool by steps", "Feed 2", "Leave the ammonium out", "Sprinkle"):
        assert words in text


def test_feeds_of_all_protocols_are_read_off_with_arrow_keys(page):
    page.goto(f"{COMPARE}/feeds")
    slider = page.get_by_label("Read the picture at")
    slider.press("End")
    last = page.locator("table.values thead th").last.text_content().strip()
    said = page.locator(".read-out").inner_text()
    assert said.startswith(f"{last}: ")
    assert re.search(r" \d+ mg N/L", said)
