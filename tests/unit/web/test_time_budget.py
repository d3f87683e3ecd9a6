"""Sheets that ask for much work hold nobody up, and nothing that was typed is lost."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from starlette.testclient import TestClient

from batches import CLOVER
from mustwright.nutrition import shelf
from mustwright.web import app as application
from mustwright.web.app import create_app
from mustwright.web.guards import ANSWER_S, BoundedWork

from .conftest import ORIGIN

HEAVY = (
    CLOVER.partition("\n[shelf]")[0]
    + "\n[shelf]\n"
    + "".join(f'n{i}={{kind="dap",price_per_kg={i + 1}}}\n' for i in range(300))
)


class Hasty(BoundedWork):
    """As the pages have it, with less time."""

    def __init__(self, app) -> None:
        super().__init__(app, 0.5)


@pytest.fixture
def client(app, monkeypatch):
    monkeypatch.setattr(shelf, "MOST_NUTRIENTS", 1000)  # as if the limit of size were not there
    monkeypatch.setattr(application, "BoundedWork", Hasty)
    hasty = create_app(app.state.compose)
    with TestClient(hasty, base_url=ORIGIN, raise_server_exceptions=False) as found:
        found.headers["Origin"] = ORIGIN
        yield found


def test_too_much_work_is_refused_with_the_form_as_typed(client, app):
    answer = client.post("/musts/new/text", data={"name": "Heavy", "text": HEAVY})
    assert answer.status_code == 422
    assert "takes longer than 0.5 seconds" in answer.text
    assert "n299={kind=" in answer.text
    assert app.state.compose.cellar.records("sheet") == []


@pytest.mark.thorough
def test_six_at_once_leave_the_pages_answering(client):
    """Six such texts once held every page for ten seconds."""
    data = {"name": "Heavy", "text": HEAVY}
    with ThreadPoolExecutor(7) as many:
        heavy = [many.submit(client.post, "/musts/new/text", data=data) for _ in range(6)]
        time.sleep(0.2)
        began = time.monotonic()
        assert client.get("/convert").status_code == 200
        took = time.monotonic() - began
        assert [one.result().status_code for one in heavy] == [422] * 6
    assert took < 20, "six halves of a second on two threads, on a machine with much to do"


def test_every_request_has_a_budget_of_a_few_seconds(app):
    assert BoundedWork in [one.cls for one in app.user_middleware]
    assert 2 <= ANSWER_S <= 10
