"""The notebook: pages by kind and key, versioned, in a file and in PostgreSQL."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from databases import KINDS, store_of
from mustwright.errors import ConflictError
from mustwright.services.repository import MissingRecordError
from mustwright.store.cellar_store import CellarStore
from mustwright.store.restoring import restore

MOMENT = datetime(2031, 6, 1, tzinfo=UTC)


@pytest.fixture(params=KINDS)
def notebook(request, tmp_path):
    with store_of(request.param, tmp_path, lambda: MOMENT) as store:
        yield store.notebook


def test_a_page_is_added_read_changed_and_removed(notebook):
    first = notebook.add_page("trial", "Two yeasts", "{}")
    assert (first.key, first.version, first.updated_at) == ("two-yeasts", 1, MOMENT)
    assert notebook.add_page("trial", "Two yeasts", "{}").key == "two-yeasts-2"
    assert notebook.add_page("tasting", "Two yeasts", "[]").key == "two-yeasts"
    changed = notebook.save_page("trial", "two-yeasts", '{"a": 1}', 1)
    assert (changed.version, changed.content) == (2, '{"a": 1}')
    assert notebook.page("trial", "two-yeasts") == changed
    assert [p.key for p in notebook.pages("trial")] == ["two-yeasts", "two-yeasts-2"]
    notebook.remove_page("trial", "two-yeasts", 2)
    with pytest.raises(MissingRecordError):
        notebook.page("trial", "two-yeasts")
    assert notebook.page("tasting", "two-yeasts").content == "[]"


def test_what_was_changed_meanwhile_is_not_written_over(notebook):
    notebook.add_page("trial", "a", "1")
    notebook.save_page("trial", "a", "2", 1)
    with pytest.raises(ConflictError):
        notebook.save_page("trial", "a", "3", 1)
    with pytest.raises(ConflictError):
        notebook.remove_page("trial", "a", 1)
    assert notebook.page("trial", "a").content == "2"
    with pytest.raises(MissingRecordError):
        notebook.save_page("trial", "b", "1", 1)


def test_without_a_version_it_is_written_whatever_is_there(notebook):
    assert notebook.save_page("learned", "heather", "1", None).version == 1
    assert notebook.save_page("learned", "heather", "2", None).version == 2
    notebook.remove_page("learned", "heather", None)
    notebook.remove_page("learned", "heather", None)
    assert notebook.pages("learned") == []


def test_a_backup_brings_the_notebook_back(tmp_path):
    store = CellarStore(tmp_path / "cellar.db", lambda: MOMENT, tmp_path)
    store.notebook.add_page("trial", "Two yeasts", '{"ü": 1}')
    assert store.back_up(tmp_path / "copy.db")["notebook"] == 1
    store.notebook.remove_page("trial", "two-yeasts", None)
    store.close()
    restore(tmp_path / "cellar.db", tmp_path / "copy.db", lambda: MOMENT, tmp_path)
    again = CellarStore(tmp_path / "cellar.db", lambda: MOMENT, tmp_path)
    assert again.notebook.page("trial", "two-yeasts").content == '{"ü": 1}'
    again.close()
