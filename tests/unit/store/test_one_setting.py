"""One setting of a cellar file is read without opening the cellar."""

from __future__ import annotations

import sqlite3

import pytest

from databases import new_file
from mustwright.compose import Compose
from mustwright.services.language import choose_language
from mustwright.services.units import keep_units
from mustwright.store.one_setting import setting_in
from mustwright.unit_system import US, UnitSystem


@pytest.fixture
def compose(tmp_path):
    new_file(tmp_path)
    made = Compose(tmp_path)
    yield made
    made.close()


def test_the_units_alone_are_those_the_cellar_keeps(compose, monkeypatch):
    for system in (US, UnitSystem(gravity="Plato"), None):
        keep_units(compose.ledger, system)
        alone = Compose(compose.home)
        monkeypatch.setattr(alone, "_store", lambda: pytest.fail("the cellar was opened"))
        assert alone.units_alone() == system


def test_the_language_alone_is_the_one_the_cellar_keeps(compose, monkeypatch):
    for code in ("de", "en"):
        choose_language(compose.ledger, code)
        alone = Compose(compose.home)
        monkeypatch.setattr(alone, "_store", lambda: pytest.fail("the cellar was opened"))
        assert alone.language_alone() == code
    compose.ledger.keep_setting("language", "of a later version")
    assert compose.language_alone() == ""


def test_a_file_that_is_away_or_no_cellar_says_nothing_and_is_not_made(tmp_path):
    path = tmp_path / "cellar.db"
    assert setting_in(path, "units") is None
    assert not path.exists()
    path.write_text("no cellar")
    assert setting_in(path, "units") is None
    path.unlink()
    sqlite3.connect(path).close()
    assert setting_in(path, "units") is None
