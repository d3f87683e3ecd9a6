"""The page of the house: what was learned, from which batches, and forgetting."""

from __future__ import annotations

import pytest

from batch_pages import Cellar, words
from closed import closed_batch
from mustwright.learning import finished


@pytest.fixture
def cellar(app, monkeypatch):
    real = finished.summary_of
    monkeypatch.setattr(finished, "summary_of", lambda *a: real(*a, members=400))
    return Cellar(app.state.compose)


def test_nothing_learned_yet(client):
    page = client.get("/house")
    assert page.status_code == 200
    assert "Nothing learned yet" in words(page.text)


def test_learn_show_forget_and_learn_again(client, cellar):
    closed_batch(cellar, "Slow one")
    assert "1 finished batch was not used yet" in words(client.get("/house").text)
    page = client.post("/house/learn", data={}, follow_redirects=True)
    said = words(page.text)
    assert "Ferments of honey" in said
    assert "low-demand neutral, clover honey" in said
    assert "Yeast: about" in said
    page = client.post("/house/forget", data={"batch": "slow-one"}, follow_redirects=True)
    assert "forgotten, as you asked" in words(page.text)
    assert "Nothing learned yet" in words(page.text)
    page = client.post("/house/remember", data={"batch": "slow-one"}, follow_redirects=True)
    assert "Ferments of honey" in words(page.text)
    page = client.post("/house/forget", data={}, follow_redirects=True)
    assert "Nothing learned yet" in words(page.text)


def test_forgetting_what_is_not_there_is_said(client):
    assert client.post("/house/forget", data={"batch": "nobody"}).status_code == 404
