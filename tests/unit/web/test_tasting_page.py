"""Tastings on the pages: dealt, poured, answered on a phone, blind until closed."""

from __future__ import annotations

import re

import pytest

from batch_pages import Cellar, fields, words
from mustwright.batch.entries import Note
from mustwright.batch.log import standing
from mustwright.services.tastings import tasting, tastings_of_batch

NEW = {
    "name": "Two feeds",
    "kind": "triangle",
    "question": "",
    "meads": "heather\nThe other one",
    "tasters": "3",
    "seed": "7",
    "expected": "0",
}


@pytest.fixture
def cellar(app):
    made = Cellar(app.state.compose)
    made.start("Heather", 500)
    return made


def make(client, **more):
    page = client.post("/tastings/new", data=NEW | more, follow_redirects=True)
    assert page.status_code == 200, words(page.text)
    return page


def kept(cellar):
    return tasting(cellar.compose.notebook, "two-feeds").tasting


def answer(client, cellar, number, *, right=True, notes=""):
    seat = kept(cellar).seats[number - 1]
    odd = min(set(seat.order), key=seat.order.count)
    code = next(c for c, m in zip(seat.codes, seat.order, strict=True) if (m == odd) == right)
    path = f"/tastings/two-feeds/seat/{number}"
    form = fields(client.get(path).text, path) | {
        "initials": f"T{number}", "glass": str(code), f"note_{code}": notes,
    }  # fmt: skip
    return client.post(path, data=form, follow_redirects=True)


def test_a_taster_sees_codes_and_no_names(client, cellar):
    make(client)
    page = client.get("/tastings/two-feeds/seat/1")
    said = words(page.text)
    assert "Heather" not in said
    assert "The other one" not in said
    for code in kept(cellar).seats[0].codes:
        assert f"Glass {code}" in said
    assert all(word in said for word in ("spit", "drives", "legal drinking age"))
    assert "rotten egg" in said
    host = words(client.get("/tastings/two-feeds").text)
    assert "Heather" not in host
    sheets = words(client.get("/tastings/two-feeds/sheets").text)
    assert "Heather" not in sheets
    assert sheets.count("legal drinking age") == 3
    assert str(kept(cellar).seats[2].codes[1]) in sheets


def test_whoever_pours_sees_what_goes_where(client, cellar):
    make(client)
    said = words(client.get("/tastings/two-feeds/pour").text)
    seat = kept(cellar).seats[0]
    names = {1: "Heather", 2: "The other one"}
    for code, mead in zip(seat.codes, seat.order, strict=True):
        assert f"{code} {names[mead]}" in said


def test_answers_come_in_and_can_be_changed_until_it_is_closed(client, cellar):
    make(client)
    assert "Your answer is in, T1" in words(answer(client, cellar, 1, right=False).text)
    assert "Your answer is in, T1" in words(answer(client, cellar, 1, notes="honey, wax").text)
    for number in (2, 3):
        answer(client, cellar, number)
    page = client.post("/tastings/two-feeds/close", data={}, follow_redirects=True)
    said = words(page.text)
    assert "A difference is shown: 3 of 3 right" in said
    assert "honey, wax" in said
    assert "T1 has answered, right" in said
    closed = words(client.get("/tastings/two-feeds/seat/1").text)
    assert "This tasting is closed" in closed
    refused = client.post(
        "/tastings/two-feeds/seat/1",
        data={"initials": "T1", "glass": str(kept(cellar).seats[0].codes[0])},
    )
    assert refused.status_code == 409


def test_what_was_found_is_noted_in_the_batch_once(client, cellar):
    make(client)
    answer(client, cellar, 1, notes="wax")
    for _ in range(2):
        client.post("/tastings/two-feeds/close", data={})
    stands = standing(cellar.ledger.log("heather"))
    (note,) = [s.what.text for s in stands if isinstance(s.what, Note)]
    assert "Tasted blind, triangle, beside The other one" in note
    assert [t.key for t in tastings_of_batch(cellar.compose.notebook, "heather")] == ["two-feeds"]


def test_nothing_is_closed_before_the_first_answer(client, cellar):
    make(client)
    page = client.post("/tastings/two-feeds/close", data={}, follow_redirects=True)
    assert "It can be closed once somebody has answered" in words(page.text)
    assert not kept(cellar).is_closed


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ({"meads": "one"}, "needs 2 meads"),
        ({"tasters": "many"}, "needs a whole number"),
        ({"name": ""}, "needs a name"),
        ({"kind": "ranking"}, "needs 3 to 8 meads"),
    ],
)
def test_what_cannot_be_used_is_said_at_its_field(client, cellar, more, message):
    del cellar
    page = client.post("/tastings/new", data=NEW | more)
    assert page.status_code == 422
    assert message in words(page.text).lower()
    assert 'value="Two feeds"' in page.text or more.get("name") == ""


def test_an_answer_that_cannot_be_used_keeps_what_was_typed(client, cellar):
    make(client)
    code = kept(cellar).seats[0].codes[0]
    data = {"initials": "AB", f"note_{code}": "smoke"}
    page = client.post("/tastings/two-feeds/seat/1", data=data)
    assert page.status_code == 422
    assert "needs one glass" in words(page.text).lower()
    assert "smoke" in page.text
    page = client.post("/tastings/two-feeds/seat/1", data=data | {"glass": "5"})
    assert "codes of your own glasses" in words(page.text)


def test_a_ranking_from_the_page(client, cellar):
    make(client, kind="ranking", meads="A\nB\nC", tasters="4")
    for number, seat in enumerate(kept(cellar).seats, 1):
        path = f"/tastings/two-feeds/seat/{number}"
        ranks = {f"value_{c}": str(m) for c, m in zip(seat.codes, seat.order, strict=True)}
        assert client.post(path, data={"initials": "X", **ranks}).status_code in (200, 303)
    page = client.post("/tastings/two-feeds/close", data={}, follow_redirects=True)
    assert re.search(r"ranked apart: p = 0\.0", words(page.text))


def test_the_list(client, cellar):
    assert "None yet" in words(client.get("/tastings").text)
    make(client)
    assert "Two feeds triangle, 0 of 3 have answered; open" in words(client.get("/tastings").text)
    german = {"Accept-Language": "de"}
    listed = words(client.get("/tastings", headers=german).text)
    assert "Two feeds Dreieckstest, 0 von 3 haben geantwortet; offen" in listed
    assert "Dreieckstest" in words(client.get("/tastings/two-feeds", headers=german).text)
    assert client.get("/tastings/nothing").status_code == 404
    assert client.get("/tastings/two-feeds/seat/9").status_code == 422
    assert "heather" in client.get("/tastings/new?batch=heather").text
    assert cellar.ledger.batch("heather")
