"""Sliders redraw the forecast; without scripts the button does."""

from __future__ import annotations

import re


def answer(page):
    return page.locator("#answer").inner_text()


def test_a_slider_redraws_without_leaving_the_page(page, axe, shoot):
    page.goto("/musts/dry-lane-mead/what-if")
    assert "Nothing is changed yet" in answer(page)
    slider = page.get_by_role("slider", name="Must temperature")
    assert slider.is_visible()
    page.evaluate("window.stays = true")
    slider.fill("27")
    page.get_by_text("Against the plan").wait_for()
    assert page.get_by_label("Must temperature, °C", exact=True).input_value() == "27.0"
    assert "27 °C instead of 18" in answer(page)
    assert "temperature=27.0" in page.url
    assert page.evaluate("window.stays")
    assert axe(page) == []
    shoot(page, "what-if-slid")
    page.reload()
    assert "27 °C instead of 18" in answer(page)


def test_a_field_moves_its_slider(page):
    page.goto("/musts/dry-lane-mead/what-if")
    page.get_by_label("Gravity at pitch", exact=True).fill("1.110")
    page.get_by_text(re.compile("Gravity at pitch 1.110 instead")).wait_for()
    assert page.get_by_role("slider", name="Gravity at pitch").input_value() == "1.11"


def test_a_wrong_value_is_told_and_the_rest_still_drawn(page, watch):
    watch.expect("422")
    page.goto("/musts/dry-lane-mead/what-if")
    page.get_by_label("Dry yeast, g", exact=True).fill("lots")
    page.get_by_text("What came: lots").wait_for()
    assert page.locator("#answer svg").first.count() == 1


def test_fast_sliding_ends_at_the_last_value(page):
    page.goto("/musts/dry-lane-mead/what-if")
    slider = page.get_by_role("slider", name="Nitrogen fed")
    for value in ("50", "80", "120", "200", "60"):
        slider.fill(value)
        page.wait_for_timeout(60)
    page.get_by_text(re.compile(r"60 mg N/L instead of")).wait_for()
    page.wait_for_timeout(400)
    assert "60 mg N/L instead of" in answer(page)


def test_without_scripts_the_button_does_it(plain_page, shoot):
    page = plain_page
    page.goto("/musts/dry-lane-mead")
    page.get_by_role("heading", name="What it will do").click()
    page.get_by_role("link", name="What if it were warmer").click()
    assert page.get_by_role("slider").count() == 0
    page.get_by_label("Must temperature, °C", exact=True).fill("80 F")
    page.get_by_role("button", name="Show it").click()
    assert "26.7 °C instead of 18" in answer(page)
    shoot(page, "what-if-plain")


def test_another_band_beside_the_best_without_scripts(plain_page):
    page = plain_page
    page.goto("/musts/dry-lane-mead/compare")
    bands = page.locator("svg .fan:not(.bundle):visible")
    assert bands.count() == 1
    page.locator(".bundles a[data-curve]:not([aria-current]):visible").first.click()
    page.wait_for_load_state("load")  # its style says which of two pictures is seen
    assert bands.count() == 2
