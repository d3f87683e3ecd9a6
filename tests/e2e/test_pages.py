"""Every page on both screens: no complaint, no accessibility rule broken, nothing over the edge."""

from __future__ import annotations

import pytest

from every_page import CELLAR, TO_READ
from screens import OUTSIDE, OVERLAPS, SMALL, UNFOLD, over_the_edge, too_much

EMPTY = {f"finish-{slug}-empty": f"/finish/{slug}" for slug in ("stable", "blend", "bottle")}
PAGES = CELLAR | EMPTY

UNFOLDED = [
    "plan", "compare", "compare-figures", "needs", "what-if", "acidity", "shelf", "convert",
    "finish",
    *(f"finish-{case}" for case in ("stable", "sweeten", "blend", "carbonate", "bottle")),
]  # fmt: skip
PICTURES = [
    "musts", "plan", "plan-us-units", "plan-fruit", "compare", "compare-beside", "compare-some",
    "what-if", "protocols", "needs", "compare-feeds",
]  # fmt: skip


@pytest.mark.parametrize("name", PAGES)
def test_a_page_with_scripts(page, axe, in_the_dark, shoot, name):
    """As it comes, in the dark and unfolded, one after the other: a page is loaded once."""
    answer = page.goto(PAGES[name])
    assert answer.status == 200
    assert page.get_by_role("heading", level=1).count() == 1
    assert axe(page) == []
    assert over_the_edge(page) <= 0
    assert too_much(page, answer, to_read=name in TO_READ) == []
    if page.viewport_size["width"] == 390:
        assert page.evaluate(SMALL) == []
    shoot(page, name)
    assert in_the_dark(page, name) == []
    if name in UNFOLDED:
        assert page.locator("details").count() > 0
        page.evaluate(UNFOLD)
        assert over_the_edge(page) <= 0
        assert axe(page) == []


@pytest.mark.parametrize("viewport", ["phone"], indirect=True)
@pytest.mark.parametrize("name", PAGES)
def test_a_page_without_scripts(plain_page, name):
    assert plain_page.goto(PAGES[name]).status == 200
    assert plain_page.get_by_role("heading", level=1).is_visible()


@pytest.mark.parametrize("viewport", ["phone"], indirect=True)
def test_text_in_pictures_stays_inside_them(page):
    for name in (
        "plan",
        "plan-us-units",
        "compare",
        "compare-some",
        "what-if",
        "protocols",
        "musts",
    ):
        page.goto(PAGES[name])
        outside = page.evaluate(OUTSIDE)
        assert outside == [], name


def test_no_two_texts_of_a_picture_lie_on_each_other(page):
    for name in PICTURES:
        page.goto(PAGES[name])
        overlaps = page.evaluate(OVERLAPS)
        assert overlaps == [], name
