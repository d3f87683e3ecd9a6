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
    assert [(s.key, s.text) for s in cellar.records("sheet")] == [
        (s, t) for s, _, t in demo_sheets()
    ]
    assert [(n.key, n.text) for n in cellar.records("nutrient")] == demo_nutrients()
    assert cellar.record("sheet", "dry-lane-mead").name == "Dry lane mead"
    assert cellar.records("protocol") == []


def test_seeding_again_does_nothing_even_when_all_was_deleted(cellar):
    seed_demo(cellar)
    for sheet in cellar.records("sheet"):
        cellar.delete("sheet", sheet.key, sheet.version)
    assert not seed_demo(cellar)
    assert cellar.records("sheet") == []


def test_a_seeding_broken_off_is_completed_and_own_records_are_left_alone(cellar):
    own = cellar.save("nutrient", "dap", 'name = "my own"', None)
    original, calls = cellar.save, []

    def break_off(kind, key, *rest):
        calls.append(kind)
        if calls.count("nutrient") == 2:
            raise KeyboardInterrupt
        return original(kind, key, *rest)

    cellar.save = break_off
    with pytest.raises(KeyboardInterrupt):
        seed_demo(cellar)
    cellar.save = original
    assert seed_demo(cellar)
    assert len(cellar.records("sheet")) == len(demo_sheets())
    assert len(cellar.records("nutrient")) == len(demo_nutrients())
    assert cellar.record("nutrient", "dap") == own


@pytest.mark.parametrize("slug", [slug for slug, _, _ in demo_sheets()])
def test_each_demo_sheet_says_that_it_is_invented_and_has_the_parts_of_a_sheet(slug):
    text = {s: t for s, _, t in demo_sheets()}[slug]
    sheet = tomllib.loads(text)
    assert "invented" in text.split("\n\n")[0]
    assert {"must", "yeast", "shelf", "legal"} <= set(sheet)
    assert sum(part["amount"] == "solve" for part in sheet["must"]["ingredient"]) == 1
    shelf = {id for id, _ in demo_nutrients()}
    assert set(sheet["shelf"]) <= shelf
