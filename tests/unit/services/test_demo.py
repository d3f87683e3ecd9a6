"""The demo cellar comes once, whole, and stays away when it is deleted."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime

import pytest

from fake_cellar import FakeCellar
from mustwright.services.demo import demo_nutrients, demo_sheets, seed_demo


@pytest.fixture
def cellar() -> FakeCellar:
    return FakeCellar(lambda: datetime(2031, 5, 1, tzinfo=UTC))


def test_seeding_puts_in_sheets_and_shelf(cellar):
    assert seed_demo(cellar)
    assert [(s.slug, s.text) for s in cellar.sheets()] == [(s, t) for s, _, t in demo_sheets()]
    assert [(n.id, n.text) for n in cellar.nutrients()] == demo_nutrients()
    assert cellar.sheet("dry-lane-mead").name == "Dry lane mead"
    assert cellar.protocols() == []


def test_seeding_again_does_nothing_even_when_all_was_deleted(cellar):
    seed_demo(cellar)
    for sheet in cellar.sheets():
        cellar.delete_sheet(sheet.slug, sheet.version)
    assert not seed_demo(cellar)
    assert cellar.sheets() == []


def test_a_seeding_broken_off_is_completed_and_own_records_are_left_alone(cellar):
    own = cellar.save_nutrient("dap", 'name = "my own"', None)
    original, calls = cellar.save_nutrient, []

    def break_off(id, text, version):
        calls.append(id)
        if len(calls) == 2:
            raise KeyboardInterrupt
        return original(id, text, version)

    cellar.save_nutrient = break_off
    with pytest.raises(KeyboardInterrupt):
        seed_demo(cellar)
    cellar.save_nutrient = original
    assert seed_demo(cellar)
    assert len(cellar.sheets()) == len(demo_sheets())
    assert len(cellar.nutrients()) == len(demo_nutrients())
    assert cellar.nutrient("dap") == own


@pytest.mark.parametrize("slug", [slug for slug, _, _ in demo_sheets()])
def test_each_demo_sheet_says_that_it_is_invented_and_has_the_parts_of_a_sheet(slug):
    text = {s: t for s, _, t in demo_sheets()}[slug]
    sheet = tomllib.loads(text)
    assert "invented" in text.split("\n\n")[0]
    assert {"must", "yeast", "shelf", "legal"} <= set(sheet)
    assert sum(part["amount"] == "solve" for part in sheet["must"]["ingredient"]) == 1
    shelf = {id for id, _ in demo_nutrients()}
    assert set(sheet["shelf"]) <= shelf
