"""A large file is imported behind the pages: how far, stopped, refused, done."""

from __future__ import annotations

import json
import re

import pytest

from batch_pages import Cellar, words
from mustwright.services.batch.export_json import export_json
from mustwright.web.pages.batch import all_batches


@pytest.fixture
def file(app, monkeypatch):
    cellar = Cellar(app.state.compose)
    slug = cellar.start("Heather", 40).slug
    monkeypatch.setattr(all_batches, "AT_ONCE_BYTES", 10)
    return export_json(cellar.ledger, slug)


def sent(client, text):
    files = {"file": ("batch.json", text.encode())}
    return client.post("/batches", files=files, follow_redirects=False)


def finished(client, where):
    for _ in range(500):
        answer = client.get(where, follow_redirects=False)
        if "Refresh" not in answer.headers:
            return answer
        assert "% done" in words(answer.text)
        assert 'action="/imports/' in answer.text
    raise AssertionError("it does not end")


def test_a_large_file_becomes_a_batch(client, file):
    other = json.loads(file)
    for line in other["log"]:
        line["id"] = f"again-{line['id']}"
    where = sent(client, json.dumps(other)).headers["location"]
    assert re.fullmatch(r"/imports/[0-9a-f]{32}", where)
    assert finished(client, where).headers["location"] == "/batches/heather-2"


def test_one_that_is_refused_says_why(client, file):
    where = sent(client, file.replace("mustwright-batch-1", "other-1")).headers["location"]
    answer = finished(client, where)
    assert answer.status_code == 422
    assert "Nothing was written." in words(answer.text)


def test_an_unknown_import_is_not_there(client):
    assert client.get("/imports/none").status_code == 404
    assert client.post("/imports/none/stop").status_code == 404
