"""The page of acid and buffer, as a maker uses it, with scripts and without."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from screens import over_the_edge


def asked(page, ph):
    page.goto("/musts/dry-lane-mead")
    page.get_by_role("link", name="Acid and buffer").first.click()
    page.get_by_label("pH before yeast").fill(ph)
    page.get_by_label("Read with").select_option("meter")
    page.get_by_label("Salt or acid", exact=True).select_option("potassium_carbonate")
    page.get_by_label("Feeding protocol").select_option("everything_at_pitch")
    page.get_by_role("button", name="Work it out").click()
    page.wait_for_url("**/acidity?*")


def test_a_measured_ph_gives_a_dose_with_its_cautions_beside_the_step(plain_page):
    asked(plain_page, "3,8")
    dose = plain_page.get_by_role("region", name="What to add, and when")
    steps = dose.get_by_role("listitem")
    stir = steps.filter(has_text="Stir the gas out")
    assert "erupt" in stir.locator(".caution").inner_text()
    give = steps.filter(has_text="Give half of it")
    assert "goggles" in give.locator(".caution").inner_text()
    plain_page.get_by_role("heading", name="Why not before the yeast").click()
    front = plain_page.locator("details[open]", has_text="Why not before the yeast")
    assert "Do not add one or two grams of carbonate per litre up front" in front.inner_text()
    assert "15 % of the sugar" in front.inner_text()
    assert "(measured)" in plain_page.locator("#content").inner_text()


def test_the_picture_says_what_it_shows(page, viewport):
    asked(page, "3.8")
    kind = "narrow" if viewport == "phone" else "wide"
    drawn = page.locator(f".picture.{kind}")
    expect(drawn).to_be_visible()
    assert "likely to stall" in drawn.text_content()
    assert "floor 3.2" in drawn.text_content()
    assert "dose" in drawn.text_content()


def test_every_figure_unfolds_and_leads_to_its_step(page, axe):
    asked(page, "3.8")
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    assert page.locator("details.fig").count() > 20
    assert axe(page) == []
    assert over_the_edge(page) <= 0
    link = page.locator("details.fig a", has_text="in the whole working").first
    step = re.search(r"#(w\d+)$", link.get_attribute("href"))[1]
    link.click()
    expect(page.locator(f"#{step}")).to_be_visible()
    page.get_by_role("link", name="Back to the acid").click()
    assert page.get_by_label("pH before yeast").input_value() == "3.8"


@pytest.mark.parametrize(("ph", "words"), [("sour", "Needs a number"), ("11", "2 to 8")])
def test_what_cannot_be_read_is_said_beside_its_field(page, watch, axe, ph, words):
    watch.expect("422")
    asked(page, ph)
    assert words in page.locator("#ph-wrong").inner_text()
    assert page.get_by_label("pH before yeast").input_value() == ph
    assert axe(page) == []
