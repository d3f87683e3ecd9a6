"""A dry batch taken to the bottle by thumb: every step from its log, and back into it."""

from __future__ import annotations

import re

import pytest

from batch_pages import NOW, Cellar
from finished import dry_batch
from mustwright.compose import Compose
from playing import playing
from screens import OUTSIDE, OVERLAPS, SMALL, UNFOLD, over_the_edge


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """A cellar whose clock the test sets, with dry batches."""
    cellar = Cellar(Compose(tmp_path_factory.mktemp("dry")))
    with playing(cellar.compose) as address:
        yield cellar, address


@pytest.fixture(scope="module")
def address(served):
    return served[1]


@pytest.fixture
def cellar(served):
    served[0].now = NOW
    return served[0]


def done(page) -> str:
    page.get_by_role("button", name="Done: record it in the batch").click()
    return page.locator(".notice").inner_text()


def to_step(page, name: str) -> None:
    page.get_by_role("link", name=re.compile("^Finish ")).last.click()
    page.locator(".bench").get_by_role("link", name=name, exact=True).click()


def check(page, axe) -> None:
    """Nothing over the edge, nothing too small for a thumb, nothing inaccessible."""
    assert over_the_edge(page) <= 0
    assert axe(page) == []
    assert page.evaluate(OUTSIDE) == []
    assert page.evaluate(OVERLAPS) == []
    page.evaluate(UNFOLD)
    assert over_the_edge(page) <= 0
    assert axe(page) == []
    if page.viewport_size["width"] == 390:
        assert page.evaluate(SMALL) == []


def test_from_dry_to_bottled(plain_page, cellar, shoot):
    """Stable, rack, sulfite, sorbate, sweeten, bottle; without scripts."""
    page = plain_page
    width = page.viewport_size["width"]
    slug = dry_batch(cellar, f"Lane {width}")
    here = f"/batches/{slug}"
    page.goto(here)
    assert "Rack it off the lees" in page.locator(".next .big").inner_text()
    shoot(page, "finishing-0-dry")

    to_step(page, "Done and stable?")
    assert "Gravity is steady, but it is not safe" in page.locator(".answer .big").inner_text()
    page.get_by_label("Fermentable sugar left, measured").fill("1.2 g/L")
    page.get_by_role("button", name="Check it").click()
    assert "dry and has settled" in page.locator(".answer .big").inner_text()
    shoot(page, "finishing-1-stable")
    assert "Judged: dry and settled" in done(page)
    cellar.pass_hours(1)

    page.goto(here)
    page.get_by_role("link", name="Finish: rack").click()
    page.get_by_label("Next vessel, to the brim").fill("18.5 L")
    page.get_by_role("button", name="Work it out").click()
    page.get_by_label("Came over").fill("18")
    shoot(page, "finishing-2-rack")
    assert "1.00 L left behind; 19.00 L before, 18.00 L after" in done(page)
    cellar.pass_hours(1)

    page.goto(here)
    page.get_by_role("link", name="Finish: sulfite").click()
    assert page.get_by_label("Volume of the mead").input_value() == "18 L"
    shoot(page, "finishing-3-sulfite")
    assert "of potassium metabisulfite" in done(page)
    cellar.pass_hours(1)

    to_step(page, "Sorbate")
    molecular = page.get_by_label("Molecular sulfur dioxide that should go with it")
    assert molecular.input_value() == "0.8 mg/L"
    shoot(page, "finishing-4-sorbate")
    assert "of potassium sorbate" in done(page)
    cellar.pass_hours(1)

    to_step(page, "Sweeten")
    page.get_by_label("Sweet as").fill("1.010")
    page.get_by_role("button", name="Work it out").click()
    assert "Protect it first" not in page.locator(".answer .big").inner_text()
    shoot(page, "finishing-5-sweeten")
    assert "of blossom honey" in done(page)
    shoot(page, "finishing-6-written")
    cellar.pass_hours(1)
    cellar.read(slug, 0, 1.0102, temperature_c=20.0)
    cellar.pass_hours(24 * 8)
    cellar.read(slug, 0, 1.0101, temperature_c=20.0)

    page.goto(here)
    assert "Bottle it" in page.locator(".next .big").inner_text()
    page.goto(f"/finish?batch={slug}")
    shoot(page, "finishing-7-bench")
    page.get_by_role("link", name="To that step").click()
    assert page.get_by_label("Total sulfur dioxide").input_value().endswith("mg/L")
    shoot(page, "finishing-8-bottle")
    said = done(page)
    assert f"lot L31132-LANE{width}" in said
    assert page.locator(".next .big").inner_text() == "This batch is closed."
    shoot(page, "finishing-9-closed")


def test_the_pages_stand_on_any_screen(page, cellar, axe, shoot):
    width = page.viewport_size["width"]
    slug = dry_batch(cellar, f"Wide {width}")
    other = dry_batch(cellar, f"Other {width}")
    lots = f"lot.1.batch={slug}&lot.2.batch={other}"
    for path in (
        "/finish/sulfite?",
        "/finish/rack?vessel=18.5+L&top_up=water&",
        f"/finish/blend?{lots}&target.alcohol=14.5+%25&",
    ):
        page.goto(f"{path}batch={slug}")
        assert page.get_by_role("button", name="Done: record it in the batch").count() == 1
        check(page, axe)
    shoot(page, "finishing-blend")
    page.goto(f"/finish/sulfite?batch={slug}")
    done(page)
    check(page, axe)
    page.goto(f"/finish?batch={slug}")
    check(page, axe)
    page.emulate_media(color_scheme="dark")
    page.goto(f"/finish/sulfite?batch={slug}")
    assert axe(page) == []
    shoot(page, "finishing-dark")
    page.goto(f"/finish?batch={slug}")
    assert axe(page) == []


def test_a_slip_stands_beside_its_field(page, cellar, watch, axe):
    watch.expect("422")
    slug = dry_batch(cellar, f"Slip {page.viewport_size['width']}")
    page.goto(f"/finish/sulfite?batch={slug}")
    page.get_by_label("potassium metabisulfite, used").fill("a pinch")
    page.get_by_role("button", name="Done: record it in the batch").click()
    assert "Nothing was written" in page.get_by_role("alert").inner_text()
    field = page.get_by_label("potassium metabisulfite, used")
    assert field.input_value() == "a pinch"
    assert field.get_attribute("aria-invalid") == "true"
    assert axe(page) == []
