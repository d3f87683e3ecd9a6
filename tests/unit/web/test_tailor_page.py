"""A plan made for one must, on its page: begun, watched, stopped, drawn and kept."""

import threading
import time
import xml.etree.ElementTree as ET

import pytest

from batch_pages import unlinked
from mustwright.nutrition.protocols import read_protocol
from mustwright.planning import tailor_search
from mustwright.services import tailoring
from mustwright.services.demo import seed_demo

MUST = "/musts/dry-lane-mead"
PAGE = f"{MUST}/tailor"


@pytest.fixture
def client(client, monkeypatch):
    monkeypatch.setattr(tailor_search, "ROUNDS", 1)
    monkeypatch.setattr(tailor_search, "POINTS", 8)
    tailoring._jobs.clear()
    seed_demo(client.app.state.compose.cellar)
    yield client
    for job in tailoring._jobs.values():
        job.stopped.set()


def done(client):
    for _ in range(600):
        answer = client.get(PAGE)
        if "Searching" not in answer.text:
            return answer
        time.sleep(0.1)
    raise AssertionError("the search did not end")


def job_of(client):
    cellar = client.app.state.compose.cellar
    return tailoring.tailoring_of(cellar, cellar.record("sheet", "dry-lane-mead"))


def test_the_plan_leads_to_it_and_nothing_is_searched_unasked(client):
    assert f'href="{PAGE}"' in client.get(MUST).text
    assert ">Search</button>" in client.get(PAGE).text
    assert job_of(client) is None


def test_it_is_searched_drawn_and_kept(client):
    assert client.post(PAGE, follow_redirects=False).status_code == 303
    text = unlinked(done(client).text)
    found = job_of(client).found
    assert 1 <= len(found) <= 4
    for one in found:
        assert one.words in text.replace("&#39;", "'")
    wide = ET.fromstring(text[text.index("<svg") : text.index("</svg>") + 6])
    kinds = [e.get("class") for e in wide.iter() if e.tag.endswith("circle")]
    assert kinds.count("rival") == len(job_of(client).compared.plans)
    assert kinds.count("dot") == len(found)
    behind = text[text.index('<table class="values">') :].partition("</table>")[0]
    assert behind.count("<tr data-at") == len(job_of(client).compared.plans) + len(found)
    cellar = client.app.state.compose.cellar
    for number in ("", "_2"):  # kept twice, under an id that is free
        answer = client.post(f"{PAGE}/keep", data={"which": "0"}, follow_redirects=False)
        assert answer.status_code == 303
        kept = read_protocol(found[0].protocol_file).id + number
        assert answer.headers["location"] == f"{MUST}?protocol={kept}"
        assert cellar.record("protocol", kept)
        assert "What it found" in client.get(PAGE).text


def test_a_search_that_goes_on_is_shown_and_can_be_stopped(client, monkeypatch):
    begun = threading.Event()

    def slow(_, goes_on, **_more):
        goes_on(0.4)
        begun.set()
        while goes_on(0.4):
            time.sleep(0.02)

    monkeypatch.setattr(tailoring, "tailor", slow)
    client.post(PAGE)
    assert begun.wait(60)
    answer = client.get(PAGE)
    assert "40 % done" in answer.text
    assert answer.headers["Refresh"] == "2"
    first = job_of(client)
    client.post(PAGE)
    assert job_of(client) is first  # not begun twice
    client.post(PAGE, data={"yeast": "1", "salt": "1"})  # but another one is, and ends the first
    assert job_of(client).vary == {"yeast", "salt"}
    assert first.stopped.is_set()
    first = job_of(client)
    answer = client.post(f"{PAGE}/stop")
    assert ">Search</button>" in answer.text
    assert "Refresh" not in answer.headers
    assert first.stopped.is_set()


def test_what_went_wrong_is_said_and_may_be_tried_again(client, monkeypatch):
    def broken(*_, **_more):
        raise ValueError("no")

    monkeypatch.setattr(threading, "excepthook", lambda _: None)
    monkeypatch.setattr(tailoring, "tailor", broken)
    client.post(PAGE)
    assert "ended without a result" in done(client).text
    assert ">Search</button>" in client.get(PAGE).text


@pytest.mark.parametrize("which", ["9", "-1", "x", ""])
def test_a_result_that_is_not_there_cannot_be_kept(client, which):
    answer = client.post(f"{PAGE}/keep", data={"which": which})
    assert answer.status_code == 422


@pytest.mark.usefixtures("compiling")
def test_it_waits_for_the_forecast(client):
    answer = client.post(PAGE)
    assert "The forecast is being compiled" in answer.text
    assert job_of(client) is None
