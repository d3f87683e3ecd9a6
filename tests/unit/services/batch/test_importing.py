"""An import and a restore say how far they are, and stop before anything is written."""

from __future__ import annotations

import io
import threading

import pytest
from PIL import Image

from batch_pages import Cellar
from databases import new_file
from mustwright.compose import Compose
from mustwright.how_far import StoppedError
from mustwright.services.batch import importing
from mustwright.services.batch.export_json import export_json, import_json
from mustwright.services.batch.photos import add_photo


@pytest.fixture
def cellar(tmp_path):
    (tmp_path / "here").mkdir()
    new_file(tmp_path / "here")
    cellar = Cellar(Compose(tmp_path / "here"))
    yield cellar
    cellar.compose.close()


@pytest.fixture
def elsewhere(tmp_path):
    (tmp_path / "there").mkdir()
    new_file(tmp_path / "there")
    other = Cellar(Compose(tmp_path / "there"))
    yield other.ledger
    other.compose.close()


@pytest.fixture
def text(cellar):
    slug = cellar.start("Heather", 40).slug
    for hours in range(30, 1, -1):
        cellar.read(slug, hours, 1.1)
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "#a86a1c").save(out, "JPEG")
    add_photo(cellar.ledger, slug, out.getvalue(), at=cellar.now)
    return export_json(cellar.ledger, slug)


def test_an_import_tells_how_far_it_is_and_stops_before_it_writes(text, elsewhere):
    seen = []
    import_json(elsewhere, text, lambda part: seen.append(part) is None)
    assert seen == sorted(seen)
    assert seen[0] == 0.0
    assert seen[-1] == 0.9


@pytest.mark.parametrize("at", [0.0, 0.01, 0.9])
def test_a_stopped_import_writes_nothing(text, elsewhere, at):
    with pytest.raises(StoppedError):
        import_json(elsewhere, text, lambda part: part < at)
    assert elsewhere.batches() == []


def test_an_import_behind_the_pages(text, elsewhere, monkeypatch):
    job = importing.begin_import(elsewhere, text)
    for _ in range(500):
        if not job.is_running:
            break
        threading.Event().wait(0.01)
    assert job.record is not None
    assert [b.slug for b in elsewhere.batches()] == [job.record.slug]
    assert importing.import_job(job.id) is job
    monkeypatch.setattr(importing, "MOST_RUNNING", 0)
    with pytest.raises(Exception, match="imports that are running"):
        importing.begin_import(elsewhere, text)


def test_a_restore_tells_how_far_it_is_and_stops_before_it_changes(cellar, text, tmp_path):
    assert text
    cellar.compose.back_up(tmp_path / "copy.db")
    cellar.read("heather", 1, 1.05)
    before = cellar.ledger.batch("heather").version
    seen = []
    for last in (0.1, 0.35, 0.65):
        with pytest.raises(StoppedError):
            cellar.compose.restore(tmp_path / "copy.db", progress=lambda part, e=last: part < e)
        assert cellar.ledger.batch("heather").version == before
    assert list((tmp_path / "here").glob(".restoring*")) == []
    cellar.compose.restore(tmp_path / "copy.db", progress=lambda part: seen.append(part) is None)
    assert cellar.ledger.batch("heather").version == before - 1
    assert seen == sorted(seen)
    assert seen[0] == 0.1
    assert seen[-1] > 0.5
