"""The page of a batch and the first page are kept, and made anew when what they say is new."""

from __future__ import annotations

import re
from datetime import UTC, timedelta
from functools import partial

import argon2
import pytest
from starlette.testclient import TestClient

from batch_pages import Cellar, fields, words
from batches import CLOVER, plan
from closed import closed_batch
from databases import new_file
from mustwright.batch import rest_or_fall
from mustwright.batch.entries import Note, StepDone
from mustwright.compose import Compose
from mustwright.learning import finished
from mustwright.recent import Recent
from mustwright.services import house
from mustwright.services.access import set_passphrase
from mustwright.services.batch import forecaster as forecaster_module
from mustwright.services.batch import record
from mustwright.services.batch.batch_view import look
from mustwright.services.batch.cache import memory_of
from mustwright.services.batch.forecaster import Forecaster, work_out
from mustwright.services.units import keep_units
from mustwright.unit_system import US, UnitSystem
from mustwright.web.access import Access
from mustwright.web.app import create_app
from mustwright.web.pages import home
from mustwright.web.pages.batch import batch_page

ID = re.compile(r'(?<=name="id" value=")[0-9a-f]{32}')
JAR = 'kind = "dap"\nname = "Kept jar"\nstock = "400 g"\n'
SHEET = """[must]
volume = "19 L"
gravity = "1.093"
[[must.ingredient]]
kind = "clover honey"
amount = "solve"
[[must.ingredient]]
kind = "water"
amount = "fill"
"""


@pytest.fixture
def cellar(app):
    return Cellar(app.state.compose)


@pytest.fixture
def slug(cellar):
    """A batch that was pitched two days ago and read since, of a must that is still there."""
    cellar.keep("Source", SHEET)
    slug = cellar.start("Kept", 50, plan=plan(CLOVER), sheet="source").slug
    cellar.read(slug, 24, 1.092, temperature_c=20.0)
    return slug


@pytest.fixture
def made(monkeypatch):
    """Counts how often a page of a batch and the first page are made."""
    counts = []
    for module in (batch_page, home):

        def counted(request, template, *given, show=module.show, **named):
            counts.append(template)
            return show(request, template, *given, **named)

        monkeypatch.setattr(module, "show", counted)
    return counts


def forget(cellar):
    memory = memory_of(cellar.ledger)
    memory.shown, memory.views, memory.ends = Recent(1e7), Recent(100), Recent(100)
    rest_or_fall._kept = Recent(rest_or_fall.MOST_KEPT_BYTES, rest_or_fall._kept._weight)


def shown(client, path):
    """A page, its ids left out: they are others each time."""
    answer = client.get(path)
    assert answer.status_code == 200
    return ID.sub("", answer.text)


def test_a_page_asked_for_again_is_the_same_and_not_made_again(client, cellar, slug, made):
    for path in (f"/batches/{slug}", "/"):
        first = client.get(path)
        again = client.get(path)
        assert ID.sub("", again.text) == ID.sub("", first.text)
        assert again.headers["content-security-policy"] == first.headers["content-security-policy"]
    assert made == ["batch.html", "home.html"]
    forget(cellar)
    assert shown(client, f"/batches/{slug}") == ID.sub("", client.get(f"/batches/{slug}").text)


def test_what_is_written_from_two_looks_at_a_kept_page_is_two_entries(client, cellar, slug, made):
    pages = [client.get(f"/batches/{slug}").text for _ in range(2)]
    assert made == ["batch.html"]
    found = [ID.findall(page) for page in pages]
    assert len(found[0]) == len(found[1]) > 3
    assert not set(found[0]) & set(found[1])
    assert not set(batch_page.PLACES.values()) & {one for ids in found for one in ids}
    before = len(cellar.ledger.log(slug))
    for page, note in zip(pages, ("smells of bread", "smells of apples"), strict=True):
        action = f"/batches/{slug}/note"
        client.post(action, data=fields(page, action) | {"text": note})
    assert len(cellar.ledger.log(slug)) == before + 2


def test_in_another_minute_only_now_is_drawn_anew(client, cellar, slug, made):
    path = f"/batches/{slug}"
    svg = re.compile(r"<svg.*?</svg>", re.DOTALL)
    for hours, key in ((40, "f1"), (30, "f2"), (20, "f3"), (10, "f4")):
        cellar.feed(slug, hours, key)  # a feed that is due moves along with now
    pages = []
    for _ in range(4):
        pages.append(shown(client, path))
        cellar.pass_hours(1 / 20)
    assert made == ["batch.html"]
    assert len(set(pages)) > 1, "the line of now moves"
    assert len({svg.sub("", page) for page in pages}) == 1
    cellar.pass_hours(-4 / 20)
    for page in pages:
        forget(cellar)
        assert shown(client, path) == page
        cellar.pass_hours(1 / 20)


def test_an_hour_or_a_day_later_the_page_is_as_if_none_had_been_kept(client, cellar, slug, made):
    cellar.read(slug, 1, 1.080, temperature_c=20.5, ph=3.4)
    work_out(cellar.ledger, slug, cellar.now)
    path = f"/batches/{slug}"
    told = set()
    for hours in (0, 1 / 60, 1, 7, 24, 24, 72, 240):
        cellar.pass_hours(hours)
        kept, again = shown(client, path), shown(client, path)
        forget(cellar)
        assert kept == again == shown(client, path), hours
        told.add(words(re.sub(r"<svg.*?</svg>", "", kept, flags=re.DOTALL)))
    assert len(told) > 4
    assert len(made) >= len(told)


def test_in_german_each_minute_is_made_by_itself(client, cellar, slug, made):
    client.post("/language", data={"language": "de", "whose": "me"})
    path = f"/batches/{slug}"
    before = shown(client, path)
    assert "Nächste" in before or "Als Nächstes" in before
    cellar.pass_hours(1 / 60)
    now = shown(client, path)
    forget(cellar)
    assert now == shown(client, path)
    assert made.count("batch.html") == 3


def test_pages_of_two_batches_share_what_is_the_same_and_nothing_else(client, cellar, slug):
    other = cellar.start("Another", 50, plan=plan(CLOVER)).slug
    mine, theirs = shown(client, f"/batches/{slug}"), shown(client, f"/batches/{other}")
    assert f"/batches/{slug}" not in theirs
    assert f"/batches/{other}" not in mine
    assert (shown(client, f"/batches/{slug}"), shown(client, f"/batches/{other}")) == (mine, theirs)
    first, second = (page for page, _ in memory_of(cellar.ledger).shown._kept.values())
    same = {id(part) for part in first.parts} & {id(part) for part in second.parts}
    assert sum(len(part) for part in first.parts if id(part) in same) > 5000


def test_what_a_page_told_is_kept_equal_and_without_how_its_texts_were_made(client, cellar, slug):
    client.get(f"/batches/{slug}")
    ((page, _),) = memory_of(cellar.ledger).shown._kept.values()
    assert page.facts["facts"]
    assert all(type(fact.value) is str for fact in page.facts["facts"])
    assert {"view", "facts", "log", "feeds", "typed", "pictures"} <= page.facts.keys()


WRITES = {
    "a reading": lambda c, s: c.read(s, 2, 1.080, temperature_c=20.5, ph=3.4),
    "a forecast": lambda c, s: work_out(c.ledger, s, c.now),
    "an addition": lambda c, s: c.feed(s, 1, "f1"),
    "an event": lambda c, s: c.event(s, 0.9, "moved", temperature_c=14),
    "a note": lambda c, s: record.write(c.ledger, s, Note("bread"), at=c.now),
    "it is taken back": lambda c, s: record.undo(c.ledger, s, now=c.now),
    "a finishing step": lambda c, s: record.write(
        c.ledger,
        s,
        StepDone("rack", lost_l=0.5, volume_before_l=19.0, volume_after_l=18.5),
        at=c.now,
    ),
    "US units": lambda c, _: keep_units(c.ledger, US),
    "a scale of gravity": lambda c, _: keep_units(c.ledger, UnitSystem(gravity="Brix")),
    "its must away": lambda c, _: c.compose.cellar.delete("sheet", "source", 1),
    "bottled": lambda c, s: c.event(s, 0, "bottled"),
}


def test_whatever_is_written_shows_at_once(client, cellar, slug):
    """After each write the page is as if none had been kept, and other than before it."""
    path = f"/batches/{slug}"
    before = shown(client, path)
    for name, write in WRITES.items():
        write(cellar, slug)
        now = shown(client, path)
        forget(cellar)
        assert now == shown(client, path), name
        assert now != before, name
        before = now


def test_a_forecast_of_a_changed_house_shows_at_once(client, cellar, slug, monkeypatch):
    real = finished.summary_of
    monkeypatch.setattr(finished, "summary_of", lambda *a: real(*a, members=400))
    work_out(cellar.ledger, slug, cellar.now, cellar.compose.house_for())
    before = shown(client, f"/batches/{slug}")
    learned_from = closed_batch(cellar, "Slow one")
    house.learn_from(cellar.ledger, cellar.compose.notebook, learned_from, cellar.now)
    found = work_out(cellar.ledger, slug, cellar.now, cellar.compose.house_for())
    assert found.house
    now = shown(client, f"/batches/{slug}")
    assert now != before
    forget(cellar)
    assert shown(client, f"/batches/{slug}") == now


@pytest.mark.thorough
def test_a_page_is_as_its_minute_says_while_the_clock_moves_past_what_is_due(client, cellar, slug):
    """Minute by minute around the moment of the next step, then until the reading is old."""
    path = f"/batches/{slug}"

    def both():
        return shown(client, path), shown(client, "/")

    def at(moment):
        """The words of a page at a moment; the same half a minute later."""
        cellar.now = moment
        kept = both()
        forget(cellar)
        assert kept == both(), moment
        cellar.now += timedelta(seconds=30)
        assert kept == both(), moment
        return tuple(words(re.sub(r"<svg.*?</svg>", "", page, flags=re.DOTALL)) for page in kept)

    cellar.feed(slug, 38, "f1")
    cellar.read(slug, 1, 1.092, temperature_c=20.0)
    due = look(cellar.ledger, slug, cellar.now, UTC).step.at.replace(second=0, microsecond=0)
    assert due > cellar.now + timedelta(minutes=10)
    said = [at(due + timedelta(minutes=k)) for k in range(-4, 5)]
    for k, before in enumerate(said[0]):
        after = said[-1][k]
        assert before != after, "else nothing was due"
        assert [page[k] for page in said] == sorted(
            (page[k] for page in said), key=lambda page: page == after
        ), "it says the one until the moment has come, and the other from then on"
    assert len({at(due + timedelta(hours=k))[0] for k in range(1, 40)}) > 3


def test_the_first_page_shows_at_once_what_is_written(client, cellar, slug):
    writes = {
        "a must": lambda: cellar.keep("Another", SHEET),
        "a jar": lambda: cellar.compose.cellar.save("nutrient", "kept", JAR, None),
        "a batch": lambda: cellar.start("Of the other", None, sheet="another"),
        "its reading": lambda: cellar.read(slug, 1, 1.099, temperature_c=20.5),
        "units": lambda: keep_units(cellar.ledger, US),
        "a must away": lambda: cellar.compose.cellar.delete("sheet", "another", 1),
    }
    before = shown(client, "/")
    for name, write in writes.items():
        write()
        now = shown(client, "/")
        forget(cellar)
        assert now == shown(client, "/"), name
        assert now != before, name
        before = now


def test_two_persons_with_different_units_each_get_their_own(client, slug):
    other = TestClient(client.app, str(client.base_url), headers=dict(client.headers))
    client.post("/units", data={"units": "us", "whose": "me"})
    other.post("/units", data={"units": "metric", "whose": "me"})
    for path in (f"/batches/{slug}", "/"):
        mine, theirs = shown(client, path), shown(other, path)
        assert mine != theirs
        assert (shown(client, path), shown(other, path)) == (mine, theirs)


def test_what_was_refused_is_not_kept(client, slug, made):
    path = f"/batches/{slug}"
    client.get(path)
    action = f"{path}/reading"
    wrong = client.post(
        action, data=fields(client.get(path).text, action) | {"gravity": "nineteen"}
    )
    assert wrong.status_code == 422
    assert "nineteen" in wrong.text
    assert "nineteen" not in client.get(path).text
    assert client.get(f"{path}?wrote=x").status_code == 200
    assert made == ["batch.html"] * 3


def test_a_page_that_waits_for_a_forecast_is_kept_until_it_comes_or_fails(
    client, cellar, slug, made, monkeypatch
):
    path = f"/batches/{slug}"
    worker = Forecaster(cellar.ledger, lambda: cellar.now)
    monkeypatch.setitem(forecaster_module._forecasters, cellar.ledger, worker)  # takes questions
    for _ in range(3):
        assert "forecast being worked out" in words(client.get(path).text)
    assert made == ["batch.html"]
    assert list(worker._urgent) == [slug]
    version = cellar.ledger.batch(slug)
    worker._failed[slug] = (version.cellar, version.version), "no forecast: of no use"
    assert "no forecast: of no use" in words(client.get(path).text)
    worker._failed.clear()
    work_out(cellar.ledger, slug, cellar.now)
    page = words(client.get(path).text)
    assert "being worked out" not in page
    assert "no forecast" not in page


def test_only_so_much_is_kept(client, cellar, slug):
    client.get(f"/batches/{slug}")
    kept = memory_of(cellar.ledger).shown
    weight = kept._total
    assert 30_000 < weight < 80_000
    memory_of(cellar.ledger).shown = Recent(2.5 * weight, kept._weight)
    for number in range(4):
        client.get(f"/batches/{cellar.start(f'More {number}', 50).slug}")
    assert 1 <= len(memory_of(cellar.ledger).shown._kept) <= 3


@pytest.mark.usefixtures("compiling")
def test_nothing_is_kept_while_the_forecast_is_compiled(client, cellar, slug):
    client.get(f"/batches/{slug}")
    client.get("/")
    assert not memory_of(cellar.ledger).shown._kept


def test_behind_a_passphrase_forms_carry_the_token_of_their_own_session(tmp_path, monkeypatch):
    quick = argon2.PasswordHasher.from_parameters(argon2.profiles.CHEAPEST)
    monkeypatch.setattr(argon2, "PasswordHasher", lambda: quick)
    new_file(tmp_path)
    compose = Compose(tmp_path)
    cellar = Cellar(compose)
    set_passphrase(compose.ledger, "heather and gorse")
    slug = cellar.start("Kept", 50).slug
    origin = "http://192.0.2.7:8765"
    app = create_app(compose, Access(True, ("192.0.2.7",), origin))
    client = partial(TestClient, app, origin, headers={"Origin": origin}, follow_redirects=False)
    mine, theirs, stranger = client(), client(), client()
    for path in (f"/batches/{slug}", "/"):
        tokens = []
        for one in (mine, theirs):
            one.post("/login", data={"passphrase": "heather and gorse"})
            pages = [one.get(path).text for _ in range(2)]
            found = [set(re.findall(r'name="form_token" value="([^"]+)"', p)) for p in pages]
            assert found[0] == found[1]
            tokens += found[:1]
        assert [len(each) for each in tokens] == [1, 1]
        assert tokens[0] != tokens[1]
        assert stranger.get(path).status_code == 303
    compose.close()
