"""The finishing bench by thumb: from what is in the vessel to labels, without scripts."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect


def typed(page, label):
    return page.get_by_label(label, exact=True)


def answer(page):
    return page.locator(".answer .big").inner_text()


def press(page, name):
    page.get_by_role("button", name=name).click()


def test_from_sulfite_to_a_bottle(plain_page, shoot):
    """One mead through five steps, each starting from what the one before left."""
    page = plain_page
    page.goto("/")
    page.get_by_role("navigation").get_by_role("link", name="Finish").click()
    typed(page, "Volume of the mead").fill("19 L")
    typed(page, "Gravity now").fill("0.998")
    typed(page, "Alcohol").fill("12 %")
    typed(page, "pH, measured").fill("3.5")
    press(page, "Use these in the steps")
    page.get_by_role("link", name="Sulfite", exact=True).click()
    assert "Add 1.15 g of potassium metabisulfite" in answer(page)
    page.get_by_role("link", name="When that is done: sorbate").click()
    assert "Dissolve 2.8 g of potassium sorbate" in answer(page)
    page.get_by_role("link", name="When that is done: sweeten").click()
    assert typed(page, "How yeast was stopped").input_value() == "sulfite+sorbate"
    typed(page, "Sweet as").fill("1.010")
    press(page, "Work it out")
    said = answer(page)
    assert "of blossom honey bring it to 1.0100" in said
    assert "Protect it first" not in said
    shoot(page, "finish-journey-sweetened")
    page.get_by_role("navigation", name="Steps of the bench").get_by_role(
        "link", name="Bottle and label"
    ).click()
    assert 19.3 < float(typed(page, "Volume of the mead").input_value().split()[0]) < 19.6
    assert float(typed(page, "Total sulfur dioxide").input_value().split()[0]) > 27
    typed(page, "Name").fill("Lane")
    press(page, "Count and label")
    assert "bottles:" in answer(page)
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Label sheet").click()
    assert waiting.value.suggested_filename.startswith("labels-L")


def test_a_refusal_stands_beside_its_field_and_can_be_put_right(page, watch, axe, shoot):
    watch.expect("422")
    page.goto("/finish/carbonate?volume=19+L&temperature=20+C&co2_volumes=2.5&fermentable=8+g/L")
    assert page.get_by_role("alert").inner_text().startswith("This is not possible")
    page.get_by_role("alert").get_by_role("link").click()
    field = typed(page, "Fermentable sugar left")
    assert field.get_attribute("aria-invalid") == "true"
    assert field.evaluate("e => e.getBoundingClientRect().top") < page.viewport_size["height"]
    assert axe(page) == []
    shoot(page, "finish-refused")
    field.fill("1 g/L")
    press(page, "Work it out")
    assert "Prime with" in answer(page)
    assert page.get_by_role("alert").count() == 0


def test_a_figure_opens_to_its_source_and_to_the_whole_working(page):
    page.goto("/finish/sulfite?volume=19+L&ph=3.5&alcohol=12+%25")
    page.get_by_role("heading", name="How it was worked out").click()
    figure = page.locator("details.fig").first
    figure.locator("summary").click()
    assert "OIVAS323" in figure.inner_text()
    figure.get_by_role("link", name="in the whole working").click()
    number = page.url.rpartition("#")[2]
    expect(page.locator(f"#{number}")).to_be_visible()
    page.get_by_role("link", name="Back to the answer").click()
    assert "Add 1.15 g" in answer(page)


@pytest.mark.parametrize("viewport", ["phone"], indirect=True)
def test_three_lots_are_blended_on_a_phone(plain_page):
    page = plain_page
    page.goto("/finish/blend")
    page.get_by_text("Part 3", exact=True).click()
    for row, (name, volume, alcohol, gravity) in enumerate(
        [("old", "10 L", "14 %", "1.012"), ("young", "12 L", "9 %", "0.998"),
         ("mild", "8 L", "6 %", "1.002")], 1,
    ):  # fmt: skip
        for what, text in zip(
            ("name", "volume", "alcohol", "gravity"), (name, volume, alcohol, gravity), strict=True
        ):
            page.locator(f'[name="lot.{row}.{what}"]').fill(text)
    typed(page, "Alcohol wanted").fill("11 %")
    typed(page, "Gravity wanted").fill("1.004 to 1.008")
    typed(page, "Volume wanted").fill("12 L")
    press(page, "Find the blend")
    assert "make 12.00 L at 11.00 % vol" in answer(page)
