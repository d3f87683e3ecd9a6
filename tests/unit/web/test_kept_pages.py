"""Pages of a must that are kept: shown again as they were, anew after a change, to nobody else."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from functools import partial

import argon2
import pytest
from starlette.testclient import TestClient

from batch_pages import Cellar, unlinked
from closed import closed_batch
from databases import new_file
from mustwright.compose import Compose
from mustwright.data import text_of
from mustwright.learning import finished
from mustwright.planning.plan_forecast import foresee_comparison
from mustwright.recent import Recent
from mustwright.services import cached_forecasts, house
from mustwright.services import records as use
from mustwright.services.access import set_passphrase
from mustwright.services.batch.cache import memory_of
from mustwright.services.own_protocols import keep_protocol
from mustwright.services.units import keep_units
from mustwright.unit_system import US
from mustwright.web.access import Access
from mustwright.web.app import create_app
from mustwright.web.pages import plan

SHEET = """[must]
volume = "19 L"
gravity = "1.093"
temperature = "19 C"
[[must.ingredient]]
kind = "clover honey"
amount = "solve"
[[must.ingredient]]
kind = "water"
amount = "fill"
[yeast]
kind = "low-demand neutral"
[legal]
profile = "home"
"""
JAR = 'kind = "dap"\nname = "Kept jar"\nstock = "{stock} g"\n'
OWN = text_of("protocols/thirds_on_days_0_2_4").replace("thirds_on_days_0_2_4", "mine")
PAGES = ("", "/needs", "/working", "/compare", "/compare/figures", "/compare/feeds", "/acidity",
         "/acidity/working")  # fmt: skip
SHOWN = ("", "/compare", "/acidity")


@pytest.fixture(autouse=True)
def few_members(monkeypatch):
    """Runs of a few members: these tests ask what is shown again, not how precise it is."""
    few = partial(foresee_comparison, members=40)
    monkeypatch.setattr(cached_forecasts, "foresee_comparison", few)
    real = finished.summary_of
    monkeypatch.setattr(finished, "summary_of", lambda *a: real(*a, members=400))


@pytest.fixture
def cellar(app):
    return Cellar(app.state.compose)


@pytest.fixture
def must(cellar):
    return "/musts/" + cellar.keep("Kept must", SHEET)


def pages_of(cellar):
    return memory_of(cellar.ledger).pages


def forget_pages(cellar):
    memory_of(cellar.ledger).pages = Recent(1e7, len)


def made(monkeypatch):
    """Counts how often a plan page is made."""
    counts, show = [], plan.show

    def counted(*given, **named):
        counts.append(given[1])
        return show(*given, **named)

    monkeypatch.setattr(plan, "show", counted)
    return counts


@pytest.mark.parametrize("page", PAGES)
def test_a_page_asked_for_again_is_the_same_and_not_made_again(client, cellar, must, page):
    first = client.get(must + page)
    assert first.status_code == 200
    assert len(pages_of(cellar)._kept) == 1
    again = client.get(must + page)
    assert (again.content, again.headers["content-type"]) == (
        first.content,
        first.headers["content-type"],
    )
    assert again.headers["content-security-policy"] == first.headers["content-security-policy"]
    forget_pages(cellar)
    assert client.get(must + page).content == first.content


def test_it_is_made_once_for_each_address(client, must, monkeypatch):
    counts = made(monkeypatch)
    for query in ("", "?protocol=staged_for_strong_musts", "?protocol=no_feed") * 2:
        assert client.get(must + query).status_code == 200
    assert counts == ["plan.html"] * 3


WRITES = {
    "a jar": lambda c: use.save_jar(c.compose.cellar, None, "Kept", JAR.format(stock=400), None),
    "less in it": lambda c: use.save_jar(c.compose.cellar, "kept", "", JAR.format(stock=4), 1),
    "the jar away": lambda c: c.compose.cellar.delete("nutrient", "kept", 2),
    "an own protocol": lambda c: keep_protocol(c.compose.cellar, OWN),
    "it is changed": lambda c: keep_protocol(c.compose.cellar, OWN.replace("48 h", "50 h")),
    "the must": lambda c: use.save_sheet(
        c.compose.cellar, "kept-must", "Kept must", SHEET.replace("1.093", "1.101"), 1
    ),
    "its name": lambda c: c.compose.cellar.save(
        "sheet", "kept-must", SHEET.replace("1.093", "1.101"), 2, "Another name"
    ),
    "units": lambda c: keep_units(c.ledger, US),
    "a batch the house learns from": lambda c: house.learn_from(
        c.ledger, c.compose.notebook, closed_batch(c, "Slow one"), c.now
    ),
    "the house forgets it": lambda c: house.forget(c.ledger, c.compose.notebook, "slow-one"),
}


@pytest.mark.thorough
def test_whatever_is_written_shows_at_once(client, cellar, must):
    """After each write the pages are as if none had been kept, and other than before it."""
    before = {page: client.get(must + page).text for page in ("", "/compare")}
    for name, write in WRITES.items():
        write(cellar)
        shown = {page: client.get(must + page).text for page in before}
        forget_pages(cellar)
        assert shown == {page: client.get(must + page).text for page in before}, name
        assert shown["/compare"] != before["/compare"], name
        before = shown


def test_what_is_written_while_a_page_is_made_is_in_the_next(client, cellar, must, monkeypatch):
    show = plan.show

    def slowly(*given, **named):
        monkeypatch.setattr(plan, "show", show)
        WRITES["a jar"](cellar)
        return show(*given, **named)

    monkeypatch.setattr(plan, "show", slowly)
    client.get(must)
    assert len(pages_of(cellar)._kept) == 0
    assert "uses generic nutrients" not in unlinked(client.get(must).text)


def test_two_persons_with_different_units_each_get_their_own(client, must):
    other = TestClient(client.app, str(client.base_url), headers=dict(client.headers))
    client.post("/units", data={"units": "us", "whose": "me"})
    other.post("/units", data={"units": "metric", "whose": "me"})
    for page in SHOWN:
        mine, theirs = client.get(must + page).text, other.get(must + page).text
        assert (client.get(must + page).text, other.get(must + page).text) == (mine, theirs)
    assert "5.02 US gal" in client.get(must).text
    assert "19.00 L" in other.get(must).text


def test_neither_the_clock_nor_batches_nor_other_musts_change_a_page(client, cellar, must):
    """Else it would have to be among what a page is kept by."""
    shown = [client.get(must + page).text for page in PAGES]
    cellar.stuck(cellar.start("From it", None, sheet="kept-must").name + " too")
    cellar.keep("Another", SHEET)
    cellar.now += timedelta(days=400)
    forget_pages(cellar)
    assert [client.get(must + page).text for page in PAGES] == shown


def test_what_is_refused_or_cannot_be_planned_is_not_kept(client, cellar, must):
    stuck = cellar.keep("Stuck", SHEET.replace("1.093", "2.5"))
    assert client.get(f"/musts/{stuck}").status_code == 422
    assert client.get(f"{must}/acidity?ph=99").status_code == 422
    assert client.get(f"{must}?protocol=nonesuch").status_code == 422
    assert client.get(f"{must}?aside={'x' * 600}").status_code == 200
    assert client.get("/musts/nobody").status_code == 404
    assert len(pages_of(cellar)._kept) == 0


@pytest.mark.usefixtures("compiling")
def test_nothing_is_kept_while_the_forecast_is_compiled(client, cellar, must):
    assert client.get(must).status_code == 200
    assert len(pages_of(cellar)._kept) == 0


def test_only_so_many_bytes_are_kept_and_those_asked_for_last(client, cellar, must, monkeypatch):
    one = len(client.get(must).content)
    memory_of(cellar.ledger).pages = Recent(3.5 * one, len)
    for aside in range(5):
        client.get(f"{must}?aside={aside}")
    assert len(pages_of(cellar)._kept) == 3
    counts = made(monkeypatch)
    client.get(f"{must}?aside=4")
    assert counts == []
    client.get(f"{must}?aside=0")
    assert counts == ["plan.html"]


def test_behind_a_passphrase_nobody_gets_the_page_of_another_session(tmp_path, monkeypatch):
    quick = argon2.PasswordHasher.from_parameters(argon2.profiles.CHEAPEST)
    monkeypatch.setattr(argon2, "PasswordHasher", lambda: quick)
    new_file(tmp_path)
    compose = Compose(tmp_path, clock=lambda: datetime(2031, 6, 1, tzinfo=UTC))
    set_passphrase(compose.ledger, "heather and gorse")
    compose.cellar.save("sheet", None, SHEET, None, "Kept must")
    origin = "http://192.0.2.7:8765"
    app = create_app(compose, Access(True, ("192.0.2.7",), origin))
    mine, theirs, stranger = (
        TestClient(app, origin, headers={"Origin": origin}, follow_redirects=False)
        for _ in range(3)
    )
    tokens = []
    for client in (mine, theirs):
        client.post("/login", data={"passphrase": "heather and gorse"})
        pages = [client.get("/musts/kept-must").text for _ in range(2)]
        assert pages[0] == pages[1]
        tokens.append(set(re.findall(r'name="form_token" value="([^"]+)"', pages[1])))
    assert [len(each) for each in tokens] == [1, 1]
    assert tokens[0] != tokens[1]
    assert stranger.get("/musts/kept-must").status_code == 303
    (token,) = tokens[0]
    assert mine.post("/logout", data={"form_token": token}).status_code == 303
    assert mine.get("/musts/kept-must").status_code == 303
    assert theirs.get("/musts/kept-must").headers["cache-control"] == "no-store"
    compose.close()
