"""Gravity and alcohol of a must while it is typed: by the same arithmetic as its plan."""

from __future__ import annotations

import pytest

from batch_pages import words
from mustwright.services.demo import seed_demo

TYPED = {
    "volume": "20 L", "target": "1.100", "temperature": "20 C", "do": "try",
    "portion.0.kind": "honey", "portion.0.amount": "solve",
    "portion.1.kind": "water", "portion.1.amount": "fill",
}  # fmt: skip


def test_the_answer_is_that_of_the_plan(client):
    part = client.post("/musts/new", data=TYPED | {"fragment": "1"})
    assert "<html" not in part.text
    said = words(part.text)
    assert said.startswith("20.00 L 1.100 (23.")
    kept = client.post("/musts/new", data=TYPED | {
        "do": "save", "name": "Sum", "shelf": "generic"}, follow_redirects=False)  # fmt: skip
    plan = words(client.get(kept.headers["location"]).text)
    alcohol = said.split(") ", 1)[1].split(" if ")[0]
    assert alcohol.endswith("% vol")
    assert alcohol in plan
    assert said.split("if it ferments dry ")[1].split(" ")[0] in plan  # kilograms of honey


def test_the_button_shows_it_on_the_form_and_keeps_nothing(client):
    answer = client.post("/musts/new", data=TYPED)
    assert answer.status_code == 200
    assert "if it ferments dry" in words(answer.text)
    assert 'value="1.100"' in answer.text
    assert client.app.state.compose.cellar.records("sheet") == []


@pytest.mark.parametrize(
    ("changes", "words_"),
    [
        ({"target": ""}, "Not worked out yet"),
        ({"portion.0.kind": "hony"}, "What came: hony"),
        ({"portion.0.amount": "100 kg", "portion.1.amount": "fill"}, "Not worked out yet"),
    ],
)
def test_what_is_missing_is_said_and_is_no_error(client, changes, words_):
    answer = client.post("/musts/new", data=TYPED | changes | {"fragment": "1"})
    assert answer.status_code == 200
    assert words_ in words(answer.text)


def test_a_kept_must_is_worked_out_as_changed(client):
    seed_demo(client.app.state.compose.cellar)
    sent = TYPED | {"fragment": "1", "version": "1", "measured": "1.085"}
    answer = client.post("/musts/dry-lane-mead/edit", data=sent)
    assert "1.085" in answer.text
