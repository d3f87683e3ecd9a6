"""The steps of rehydration with their waits, on the clock where it is said when they began."""

from __future__ import annotations

import re

import pytest

from batch_pages import Cellar, words
from batches import CLOVER, plan
from mustwright.services.demo import seed_demo


@pytest.fixture
def cellar(app):
    cellar = Cellar(app.state.compose)
    seed_demo(app.state.compose.cellar)
    return cellar


def waits(page: str) -> list[str]:
    return re.findall(r'data-minutes="([^"]*)"', page)


@pytest.mark.usefixtures("cellar")
def test_a_must_has_the_waits_of_its_checklist(client):
    page = client.get("/musts/dry-lane-mead/rehydrate").text
    steps = words(client.get("/musts/dry-lane-mead").text)
    count = int(re.search(r"wait 5 minutes, and again: (\d+) step", steps)[1])
    assert waits(page) == ["20", *["5"] * count]
    assert "let it stand 15 to 30 minutes" in words(page)
    assert "The yeast is in the must" not in page


def test_clock_times_follow_one_another(client, cellar):
    slug = cellar.start("Lane", None, plan=plan(CLOVER)).slug
    page = client.get(f"/batches/{slug}/rehydrate?began=17:30").text
    until = re.findall(r"until <strong>(\d\d:\d\d)</strong>", page)
    assert until[:2] == ["17:50", "17:55"]
    assert len(until) == len(waits(page))
    wrong = client.get(f"/batches/{slug}/rehydrate?began=soon")
    assert wrong.status_code == 422
    assert 'id="began-wrong"' in wrong.text


def test_the_pitch_is_written_down_from_here_once(client, cellar):
    slug = cellar.start("Lane", None, plan=plan(CLOVER)).slug
    page = client.get(f"/batches/{slug}/rehydrate").text
    identity = re.search(r'name="id" value="([0-9a-f]{32})"', page)[1]
    for _ in range(2):
        client.post(f"/batches/{slug}/event", data={"id": identity, "what": "pitched"})
    kinds = [e.what.what for e in cellar.ledger.log(slug) if e.what.kind == "event"]
    assert kinds == ["pitched"]
    assert "now</button>" not in client.get(f"/batches/{slug}/rehydrate").text
