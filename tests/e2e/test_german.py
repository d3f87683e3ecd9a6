"""Every page in German on both screens: nothing over the edge, no longer than the others may be."""

from __future__ import annotations

import pytest

from every_page import CELLAR, TO_READ
from screens import OUTSIDE, OVERLAPS, SMALL, over_the_edge, too_much

PAGES = list(CELLAR)
PICTURES = ("plan", "compare", "what-if", "protocols", "needs", "batch", "acidity")
RULES = ("plan", "compare", "acidity", "finish-carbonate", "new-must", "units")
LONGER = 1.05  # German words are longer: a page may take a twentieth more than in English


@pytest.fixture
def german(page):
    """A page whose browser asks for German."""
    page.set_extra_http_headers({"Accept-Language": "de-AT, de;q=0.9"})
    return page


@pytest.mark.parametrize("part", range(4))
def test_a_page_in_german(german, part):
    """All of them in four parts, which processes can share."""
    wrong = []
    for name in PAGES[part::4]:
        answer = german.goto(CELLAR[name])
        assert answer.status == 200
        assert german.locator("html").get_attribute("lang") == "de"
        german.wait_for_load_state()
        if (over := over_the_edge(german)) > 0:
            wrong.append(f"{name}: {over} px over the edge")
        wrong += [f"{name}: {one}" for one in too_much(german, answer, name in TO_READ, LONGER)]
        if german.viewport_size["width"] == 390:
            wrong += [f"{name}: {one}" for one in german.evaluate(SMALL)]
        if name in PICTURES:
            wrong += [f"{name}: {one}" for one in german.evaluate(OVERLAPS)]
            wrong += [f"{name}: {one}" for one in german.evaluate(OUTSIDE)]
    assert not wrong, "\n".join(wrong)


def test_the_rules_of_access_hold_in_german(german, axe):
    for name in RULES:
        german.goto(CELLAR[name])
        assert axe(german) == [], name


@pytest.mark.parametrize("viewport", ["phone"], indirect=True)
def test_german_is_chosen_and_left_again(page):
    page.goto("/units")
    page.get_by_role("button", name="Deutsch").click()
    page.get_by_role("heading", name="Einheiten und Sprache").wait_for()
    page.goto("/musts/dry-lane-mead")
    assert page.get_by_role("heading", name="Mischen").count() == 1
    page.goto("/units")
    page.get_by_role("button", name="English").click()
    page.get_by_role("heading", name="Units and language").wait_for()
