"""Trials, tastings and the house in a real browser: played through once, checked on every page."""

from __future__ import annotations

import re

import pytest

from screens import OUTSIDE, over_the_edge

SMALL = """() => [...document.querySelectorAll(
    'main button, main .button, main select, main textarea, main input:not([type=hidden])')]
  .filter(e => e.tabIndex >= 0 && e.checkVisibility())
  .filter(e => !['checkbox', 'radio'].includes(e.type))
  .map(e => [e.outerHTML.slice(0, 80), e.getBoundingClientRect().height])
  .filter(([, height]) => height < 43.5)"""


@pytest.fixture
def sound(page, axe, in_the_dark, shoot, viewport):
    """Nothing over the edge, nothing too small for a thumb, no rule of accessibility broken."""

    def check(name: str) -> None:
        page.get_by_role("heading", level=1).first.wait_for()
        assert axe(page) == []
        assert over_the_edge(page) <= 0
        if viewport == "phone":
            assert page.evaluate(SMALL) == []
        shoot(page, f"learning-{name}")
        assert in_the_dark(page, f"learning-{name}") == []

    return check


@pytest.mark.parametrize("path", ["/learn", "/trials", "/trials/new", "/tastings", "/house"])
def test_the_pages_of_learning(page, sound, path):
    assert page.goto(path).status == 200
    sound(path.strip("/").replace("/", "-"))


def test_a_tasting_is_played_through(page, sound, watch, viewport):
    watch.expect("422")  # an empty answer is sent once
    page.goto("/tastings/new")
    sound("tasting-new")
    page.get_by_label("Name", exact=True).fill(f"Two meads {viewport}")
    page.get_by_label("Meads, one a line").fill("Heather\nLime")
    page.get_by_label("Tasters").fill("3")
    page.get_by_role("button", name="Assign the glasses").click()
    sound("tasting-open")
    here = page.url
    assert "Heather" not in page.get_by_role("main").inner_text()
    page.goto(f"{here}/pour")
    sound("tasting-pour")
    page.goto(f"{here}/sheets")
    assert over_the_edge(page) <= 0
    page.goto(f"{here}/seat/1")
    sound("tasting-seat")
    assert "Heather" not in page.get_by_role("main").inner_text()
    page.get_by_role("button", name="Send my answer").click()
    page.get_by_role("alert").wait_for()
    page.get_by_label("Initials, or a sign of your own").fill("AB")
    page.get_by_role("radio").first.check()
    page.get_by_role("button", name="Send my answer").click()
    page.get_by_text("Your answer is in, AB").wait_for()
    page.goto(here)
    page.get_by_role("button", name="Close the tasting").click()
    page.get_by_role("heading", name="What it shows").wait_for()
    assert "Heather" in page.get_by_role("main").inner_text()
    sound("tasting-closed")


def test_a_trial_is_played_through(page, sound, viewport):
    page.goto("/trials/new")
    page.get_by_label("Name", exact=True).fill(f"Two ways {viewport}")
    page.get_by_label("First arm", exact=True).fill("front")
    page.locator("#what1").select_option("everything_at_pitch")
    page.get_by_label("Second arm", exact=True).fill("staged")
    page.locator("#what2").select_option("thirds_on_days_0_2_4")
    page.locator("#vessels").fill("4")
    page.get_by_role("button", name="Draw at random").click()
    sound("trial-closed")
    here = page.url
    scores = page.get_by_label(re.compile("Score of"))
    assert scores.count() == 4
    page.emulate_media(media="print")
    assert page.get_by_role("columnheader", name="Gravity").is_visible()
    assert scores.first.is_visible()
    assert not page.get_by_role("button", name="Write the scores down").is_visible()
    page.emulate_media(media="screen")
    for k in range(4):
        scores.nth(k).fill(str(5 + k))
    page.get_by_role("button", name="Write the scores down").click()
    page.get_by_text("With 4 vessels it cannot be told from chance").wait_for()
    sound("trial-answer")
    page.goto(f"{here}/labels")
    assert over_the_edge(page) <= 0
    assert page.evaluate(OUTSIDE) == []
