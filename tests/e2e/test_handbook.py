"""The handbook on paper, and the glossary that each page leads to."""

from __future__ import annotations

import io
import re

import pytest
from playwright.sync_api import expect
from pypdf import PdfReader

MOST_PAGES = 10


@pytest.mark.parametrize("viewport", ["laptop"], indirect=True)
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_handbook_prints_on_ten_pages_with_its_pictures(page, paper):
    page.goto("/handbook")
    pictures = page.locator(".handbook img")
    assert pictures.count() >= 5
    assert page.evaluate(
        "() => [...document.querySelectorAll('.handbook img')].every(i => i.naturalWidth > 0)"
    )
    reader = PdfReader(io.BytesIO(page.pdf(format=paper, print_background=True)))
    assert 4 <= len(reader.pages) <= MOST_PAGES
    text = " ".join(one.extract_text() for one in reader.pages)
    for words in ("From honey to glass", "never put your head into", "11. Taste, look back"):
        assert words in re.sub(r"\s+", " ", text)
    assert sum(len(one.images) for one in reader.pages) >= 5


def test_a_word_of_the_trade_leads_to_its_explanation(page):
    page.goto("/protocols")
    word = page.locator("a.term").first
    entry = word.get_attribute("href").partition("#")[2]
    word.click()
    assert page.url.endswith(f"/glossary#{entry}")
    expect(page.locator(f"#{entry}")).to_be_in_viewport()
