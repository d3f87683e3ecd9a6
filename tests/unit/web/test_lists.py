"""Lists are searched, sorted, filtered and paged by address alone; a must is copied from one."""

from __future__ import annotations

import re

import pytest

from batch_pages import Cellar, fields, words
from mustwright.services.demo import seed_demo
from mustwright.web.forms.sheet_form import with_amounts_to_choose, with_chosen_amounts
from mustwright.web.forms.typed import TypedForm
from mustwright.web.pages.sought import PAGE, Sought, found

MUST = '[must]\nvolume = "5 L"\ngravity = "1.100"\n[[must.ingredient]]\nkind = "{}"\n' \
    'amount = "solve"\n[[must.ingredient]]\nkind = "water"\namount = "fill"\n'  # fmt: skip


@pytest.fixture
def cellar(client):
    return Cellar(client.app.state.compose)


def listed(page: str) -> list[str]:
    return re.findall(r'<h[23]><a href="/(?:musts|batches)/([^"]+)"', page)


@pytest.fixture
def musts(client, cellar):
    kept = cellar.compose.cellar
    for name, kind in (("Ash", "clover honey"), ("Birch", "heather honey"), ("Cedar", "water")):
        kept.save("sheet", None, MUST.format(kind), None, name)
    return client


def test_musts_are_found_by_name_and_by_what_is_in_them(musts):
    assert listed(musts.get("/musts?sort=name").text) == ["ash", "birch", "cedar"]
    assert listed(musts.get("/musts?q=HEATHER+honey").text) == ["birch"]
    assert listed(musts.get("/musts?q=ash").text) == ["ash"]
    assert "No must has that" in musts.get("/musts?q=nothing").text
    odd = musts.get('/musts?q="><b>&sort=x&state=y&page=-3')
    assert odd.status_code == 200
    assert "<b>" not in odd.text


def test_musts_are_told_apart_by_whether_a_batch_was_started(musts, cellar):
    cellar.start("First", 10, sheet="birch")
    assert listed(musts.get("/musts?state=begun").text) == ["birch"]
    assert sorted(listed(musts.get("/musts?state=new").text)) == ["ash", "cedar"]
    assert "1 batch" in words(musts.get("/musts?state=begun").text)


@pytest.mark.thorough
def test_a_long_list_comes_page_by_page(client):
    kept = client.app.state.compose.cellar
    for k in range(PAGE + 3):
        kept.save("sheet", None, MUST.format("clover honey"), None, f"Must {k:02}")
    first = client.get("/musts?sort=name").text
    assert len(listed(first)) == PAGE
    onward = re.search(r'<a href="\?([^"]+)" rel="next">', first)[1].replace("&amp;", "&")
    last = client.get(f"/musts?{onward}").text
    assert listed(last) == [f"must-{k}" for k in range(PAGE, PAGE + 3)]
    assert 'rel="prev"' in last
    assert 'rel="next"' not in last
    home = client.get("/").text
    assert len(listed(home)) < PAGE
    assert f"All {PAGE + 3} musts" in home


def test_a_must_is_copied_under_a_name_of_its_own(client):
    kept = client.app.state.compose.cellar
    seed_demo(kept)
    original = kept.record("sheet", "dry-lane-mead")
    answer = client.post("/musts/dry-lane-mead/copy", follow_redirects=False)
    key = re.fullmatch(r"/musts/([a-z0-9-]+)/edit", answer.headers["location"])[1]
    copied = kept.record("sheet", key)
    assert key != "dry-lane-mead"
    assert copied.text == original.text
    assert copied.name == f"{original.name}, again"
    assert client.post("/musts/nobody/copy").status_code == 404


@pytest.fixture
def batches(client, cellar):
    cellar.stuck("Stuck one")
    quiet = cellar.start("Apple", 100).slug
    for hours, gravity in ((76, 1.110), (52, 1.095), (28, 1.082), (2, 1.070)):
        cellar.read(quiet, hours, gravity, temperature_c=20)
    for key in ("f1", "f2", "f3", "f4"):
        cellar.feed(quiet, 20, key)
    cellar.start("Waits", None)
    done = cellar.start("Over", 24 * 70).slug
    cellar.read(done, 24 * 50, 1.010)
    cellar.event(done, 24, "bottled")
    client.get("/batches")
    return client


@pytest.mark.parametrize(
    ("query", "slugs"),
    [
        ("state=all&sort=name", ["apple", "over", "stuck-one", "waits"]),
        ("state=going&sort=name", ["apple", "stuck-one", "waits"]),
        ("state=trouble", ["stuck-one"]),
        ("state=closed", ["over"]),
        ("state=today&sort=name", ["stuck-one", "waits"]),
        ("q=stopped", ["stuck-one"]),
        ("q=bottled", ["over"]),
        ("state=going&sort=gravity", ["apple", "stuck-one", "waits"]),
    ],
)
def test_batches_are_sought_by_words_and_state(batches, query, slugs):
    page = batches.get(f"/batches?{query}").text
    shown = re.findall(r'<a href="/batches/([a-z0-9-]+)">', page)
    assert shown == slugs
    assert f"{len(slugs)} found" in page


def test_every_batch_says_at_a_glance_how_it_stands(batches):
    page = words(batches.get("/batches").text)
    for said in ("stopped short 1.054 trouble", "not pitched due", "1.070 quiet", "Over closed"):
        assert said in page


# What was sought --------------------------------------------------------------------------------


def test_pages_beyond_the_last_are_the_last():
    assert found(Sought(page=9), range(PAGE + 1), None).items == [PAGE]
    assert found(Sought(page=0), [], None).pages == 1
    assert found(Sought(), [3, 1, 2], lambda n: n).items == [1, 2, 3]


# Amounts that are chosen ------------------------------------------------------------------------


def test_a_chosen_amount_is_the_word_of_the_sheet_and_back():
    typed = TypedForm(
        {"volume": "3 L", "volume_how": "solve"},
        [{"kind": "honey", "how": "solve", "amount": "6 kg"}, {"kind": "water", "how": "fill"},
         {"kind": "malt", "how": "", "amount": "1 kg"}, {"kind": "old", "amount": "solve"}],
    )  # fmt: skip
    sent = with_chosen_amounts(typed)
    assert sent.fields["volume"] == "solve"
    assert [row["amount"] for row in sent.rows] == ["solve", "fill", "1 kg", "solve"]
    shown = with_amounts_to_choose(sent)
    assert (shown.fields["volume"], shown.fields["volume_how"]) == ("", "solve")
    assert [(row.get("how", ""), row["amount"]) for row in shown.rows] == [
        ("solve", ""), ("fill", ""), ("", "1 kg"), ("solve", "")
    ]  # fmt: skip
    assert [row["amount"] for row in with_chosen_amounts(shown).rows] == [
        "solve", "fill", "1 kg", "solve"
    ]  # fmt: skip


def test_the_form_offers_choices_and_keeps_the_words_of_the_sheet(client):
    kept = client.app.state.compose.cellar
    seed_demo(kept)
    page = client.get("/musts/dry-lane-mead/edit").text
    sent = fields(page, "/musts/dry-lane-mead/edit")
    assert sent["portion.0.how"] == "solve"
    assert sent["portion.0.amount"] == ""
    before = kept.record("sheet", "dry-lane-mead").text
    sent |= {"do": "save", "shelf": "cellar"}
    answer = client.post("/musts/dry-lane-mead/edit", data=sent, follow_redirects=False)
    assert answer.status_code == 303
    assert kept.record("sheet", "dry-lane-mead").text == before
    changed = {"portion.0.how": "", "portion.0.amount": "6 kg", "target": ""}
    version = {"version": str(kept.record("sheet", "dry-lane-mead").version)}
    client.post("/musts/dry-lane-mead/edit", data=sent | changed | version)
    assert 'amount = "6 kg"' in kept.record("sheet", "dry-lane-mead").text
