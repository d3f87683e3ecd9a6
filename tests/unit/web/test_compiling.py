"""The first compiling on the pages: how far, and stopped or begun by a button."""

from __future__ import annotations

import threading

import pytest

from batch_pages import words
from mustwright.kinetics import ready
from mustwright.services.demo import seed_demo

MUST = "/musts/dry-lane-mead"


@pytest.mark.usefixtures("compiling")
def test_how_far_it_is_and_stopping_it(client, monkeypatch):
    seed_demo(client.app.state.compose.cellar)
    monkeypatch.setattr(ready, "_STOPPED", threading.Event())
    page = client.get(MUST).text
    assert 'aria-label="How far the compiling is"' in page
    assert "0 % done, about 40 s left" in words(page)
    said = client.get("/health").json()
    assert (said["forecast"], said["compiling"]) == ("compiling", {"part": 0.0, "left_s": 40})
    asked = {"Referer": f"http://127.0.0.1:8765{MUST}?protocol=everything_at_pitch"}
    answer = client.post("/forecast/stop", headers=asked, follow_redirects=False)
    assert answer.headers["location"] == f"{MUST}?protocol=everything_at_pitch"
    assert "Compiling the forecast was stopped" in words(client.get(MUST).text)
    begun = []
    monkeypatch.setattr(
        "mustwright.web.pages.compiling.warm_up_behind", lambda _: begun.append("again")
    )
    elsewhere = {"Referer": "http://127.0.0.1:8765//evil.example"}
    answer = client.post("/forecast/compile", headers=elsewhere, follow_redirects=False)
    assert answer.headers["location"] == "/"
    assert begun == ["again"]
