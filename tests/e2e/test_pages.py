"""Every page on both screens: no complaint, no accessibility rule broken, nothing over the edge."""

from __future__ import annotations

import pytest

from finish_cases import CASES, form_address
from screens import OUTSIDE, OVERLAPS, over_the_edge

PAGES = {
    "musts": "/",
    "new-must": "/musts/new",
    "new-must-text": "/musts/new/text",
    "plan": "/musts/dry-lane-mead",
    "plan-fruit": "/musts/hedgerow-berry",
    "plan-us-units": "/musts/midwinter-sweet?protocol=staged_for_strong_musts",
    "working": "/musts/dry-lane-mead/working",
    "acidity": "/musts/dry-lane-mead/acidity",
    "acidity-asked": "/musts/hedgerow-berry/acidity?ph=3.5&by=strip&salt=potassium_carbonate",
    "acidity-working": "/musts/dry-lane-mead/acidity/working",
    "compare": "/musts/dry-lane-mead/compare",
    "compare-some": "/musts/hedgerow-berry/compare?protocol=everything_at_pitch"
    "&protocol=two_feeds_for_fruit",
    "compare-beside": "/musts/dry-lane-mead/compare?beside=label_rate_days_1_2_3",
    "what-if": "/musts/dry-lane-mead/what-if",
    "tailor": "/musts/dry-lane-mead/tailor",
    "what-if-changed": "/musts/dry-lane-mead/what-if?temperature=26&nitrogen=100&gravity=1.12",
    "edit": "/musts/hedgerow-berry/edit",
    "edit-text": "/musts/hedgerow-berry/text",
    "protocols": "/protocols",
    "protocol": "/protocols/daily_taper_of_three",
    "own-protocol": "/protocols/new?like=falling_parts_by_sugar_or_day",
    "shelf": "/shelf",
    "jar": "/shelf/complex_blend",
    "new-jar": "/shelf/new",
    "convert": "/convert?value=24+Bx",
    "convert-alcohol": "/convert?value=1.010&original=1.100&temperature=24+C",
    "finish": "/finish?volume=19+L&gravity=0.998&alcohol=12+%25&ph=3.5&batch=lane",
    "finish-empty": "/finish",
    **{f"finish-{case}": form_address(case) for case in CASES},
    **{f"finish-{slug}-empty": f"/finish/{slug}" for slug in ("stable", "blend", "bottle")},
    "finish-sulfite-working": form_address("sulfite", "/working"),
    "sources": "/sources",
}

UNFOLDED = [
    "plan", "compare", "what-if-changed", "working", "acidity", "shelf", "convert-alcohol",
    "finish",
    *(f"finish-{case}" for case in ("stable", "sweeten", "blend", "carbonate", "bottle")),
]  # fmt: skip
DARK = [
    "musts", "plan", "compare", "what-if-changed", "new-must", "shelf", "finish",
    "finish-carbonate",
]  # fmt: skip
PICTURES = [
    "musts", "plan", "plan-us-units", "plan-fruit", "compare", "compare-beside", "compare-some",
    "what-if", "what-if-changed", "protocols",
]  # fmt: skip


@pytest.mark.parametrize("name", PAGES)
def test_a_page_with_scripts(page, axe, shoot, name):
    answer = page.goto(PAGES[name])
    assert answer.status == 200
    assert page.get_by_role("heading", level=1).count() == 1
    assert axe(page) == []
    assert over_the_edge(page) <= 0
    assert shoot(page, name).stat().st_size > 5000


@pytest.mark.parametrize("name", PAGES)
def test_a_page_without_scripts(plain_page, name):
    assert plain_page.goto(PAGES[name]).status == 200
    assert plain_page.get_by_role("heading", level=1).is_visible()


@pytest.mark.parametrize("name", UNFOLDED)
def test_everything_unfolded_still_fits(page, axe, name):
    page.goto(PAGES[name])
    opened = page.evaluate(
        "() => { const all = document.querySelectorAll('details');"
        " all.forEach(d => { d.open = true }); return all.length }"
    )
    assert opened > 0 or name == "working"
    assert over_the_edge(page) <= 0
    assert axe(page) == []


@pytest.mark.parametrize("name", DARK)
def test_the_dark_theme_can_be_read(page, axe, shoot, name):
    page.emulate_media(color_scheme="dark")
    page.goto(PAGES[name])
    assert axe(page) == []
    shoot(page, f"{name}-dark")


@pytest.mark.parametrize("viewport", ["phone"], indirect=True)
@pytest.mark.parametrize("name", PAGES)
def test_buttons_and_fields_are_large_enough_for_a_thumb(page, name):
    page.goto(PAGES[name])
    small = page.evaluate(
        """() => [...document.querySelectorAll(
            'button, .button, select, textarea, input:not([type=hidden])')]
          .filter(e => e.tabIndex >= 0 && e.checkVisibility())
          .filter(e => !['checkbox', 'radio'].includes(e.type))
          .map(e => [e.outerHTML.slice(0, 80), e.getBoundingClientRect().height])
          .filter(([, height]) => height < 43.5)"""
    )
    assert small == []


@pytest.mark.parametrize("viewport", ["phone"], indirect=True)
def test_text_in_pictures_stays_inside_them(page):
    for name in (
        "plan",
        "plan-us-units",
        "compare",
        "compare-some",
        "what-if-changed",
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
