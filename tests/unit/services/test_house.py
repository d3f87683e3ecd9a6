"""The house in a cellar: learned from closed batches, forgotten exactly, in every forecast."""

from __future__ import annotations

import json

import numpy as np
import pytest

from batch_pages import Cellar
from batches import CLOVER, plan
from closed import QUICK, SLOW, closed_batch
from mustwright.compose import Compose
from mustwright.kinetics.ready import warm_up
from mustwright.learning import finished
from mustwright.learning.differences import HORIZON_H
from mustwright.planning.forecast import forecast, forecast_data
from mustwright.planning.likeness import likeness_of
from mustwright.planning.must_setup import ground_of
from mustwright.services.batch.forecaster import work_out
from mustwright.services.house import forget, house_view, learn_from, remember
from mustwright.services.house_report import NOTHING, house_data, house_lines
from mustwright.services.notebook import LEARNED
from mustwright.services.repository import MissingRecordError

LIKE = likeness_of(ground_of(CLOVER, "x"))


@pytest.fixture(autouse=True)
def few_members(monkeypatch):
    """Summaries of a few hundred members: these tests ask what is kept, not how precise it is."""
    warm_up()
    real = finished.summary_of
    monkeypatch.setattr(finished, "summary_of", lambda *a: real(*a, members=600))


@pytest.fixture
def cellar(tmp_path):
    compose = Compose(tmp_path)
    yield Cellar(compose)
    compose.close()


def view(cellar, learn=True):
    return house_view(cellar.ledger, cellar.compose.notebook, cellar.now, learn=learn)


def unfed(house=None):
    """A forecast of the must as the closed batches were: nobody wrote down a feed."""
    return forecast(CLOVER, "none", members=200, with_ph=False, house=house)


@pytest.mark.thorough
def test_a_cellar_without_closed_batches_has_no_house(cellar):
    cellar.start("Running", 24)
    found = view(cellar)
    assert (found.batches, found.houses) == ((), {})
    assert cellar.compose.house_for()(LIKE) is None
    assert house_lines(found) == [NOTHING]
    plain = forecast_data(forecast(CLOVER, members=64, with_ph=False))
    asked = forecast(CLOVER, members=64, with_ph=False, house=cellar.compose.house_for())
    assert forecast_data(asked) == plain


def test_what_is_learned_is_kept_and_moves_the_next_forecast(cellar):
    for name in ("A", "B"):
        closed_batch(cellar, name, SLOW)
    pending = view(cellar, learn=False)
    assert [one.pending for one in pending.batches] == [True, True]
    assert pending.houses == {}
    found = view(cellar)
    assert found.count == 2
    assert [p.key for p in cellar.compose.notebook.pages(LEARNED)] == ["a", "b"]
    # half of a covariance of 35 effects: 630 numbers
    assert all(len(p.content) < 7000 for p in cellar.compose.notebook.pages(LEARNED))
    assert view(cellar, learn=False).houses.keys() == found.houses.keys() == {"honey"}
    plain, mine = unfed(), unfed(cellar.compose.house_for())
    at = list(plain.forecast.times_h).index(240.0)
    assert not np.array_equal(mine.forecast.gravity.p50, plain.forecast.gravity.p50)
    assert "finished batches" in forecast_data(mine)["house"]
    assert "house" not in forecast_data(plain)
    for name in ("A", "B"):
        forget(cellar.ledger, cellar.compose.notebook, name.lower())
        closed_batch(cellar, f"{name} quick", QUICK)
    view(cellar)
    quick = unfed(cellar.compose.house_for())
    assert quick.forecast.gravity.p50[at] < mine.forecast.gravity.p50[at] - 0.004


def test_deleting_or_forgetting_a_batch_removes_its_influence_exactly(cellar):
    closed_batch(cellar, "A", SLOW)
    view(cellar)
    alone = cellar.compose.house_for()(LIKE)
    slug = closed_batch(cellar, "B", QUICK)
    view(cellar)
    assert cellar.compose.house_for()(LIKE) != alone
    forget(cellar.ledger, cellar.compose.notebook, slug)
    assert cellar.compose.house_for()(LIKE) == alone
    assert [one.is_forgotten for one in view(cellar).batches] == [False, True]
    remember(cellar.compose.notebook, slug)
    assert cellar.compose.house_for()(LIKE) != alone
    cellar.ledger.delete_batch(slug, cellar.ledger.batch(slug).version)
    assert cellar.compose.house_for()(LIKE) == alone


def test_all_can_be_forgotten(cellar):
    closed_batch(cellar, "A")
    view(cellar)
    assert forget(cellar.ledger, cellar.compose.notebook, None) == ["a"]
    assert cellar.compose.house_for()(LIKE) is None
    assert remember(cellar.compose.notebook, None) == ["a"]
    assert cellar.compose.house_for()(LIKE) is not None
    with pytest.raises(MissingRecordError):
        forget(cellar.ledger, cellar.compose.notebook, "nobody")
    with pytest.raises(MissingRecordError):
        remember(cellar.compose.notebook, "a")


@pytest.mark.thorough
def test_a_correction_of_the_log_is_learned_anew(cellar):
    slug = closed_batch(cellar, "A")
    view(cellar)
    cellar.read(slug, 1, 1.010)
    assert view(cellar, learn=False).batches[0].pending
    assert not view(cellar).batches[0].pending


def test_a_batch_with_too_few_readings_says_so(cellar):
    closed_batch(cellar, "A", SLOW[:2])
    (one,) = view(cellar).batches
    assert not one.counts
    assert "3 readings of gravity" in one.why
    assert not view(cellar, learn=False).batches[0].pending


def test_a_batch_is_held_against_the_runs_that_get_as_far(cellar, monkeypatch):
    slug = closed_batch(cellar, "A")
    days = np.append(np.linspace(4.0, 14.0, 101), np.full(10, HORIZON_H / 24))
    monkeypatch.setattr(finished, "days_used", lambda _case: days)
    (one,) = view(cellar).batches
    assert one.band == pytest.approx((4.5, 9.0, 13.5))
    monkeypatch.setattr(finished, "days_used", lambda _case: days[101:])
    again = learn_from(cellar.ledger, cellar.compose.notebook, slug, cellar.now)
    assert again.band == pytest.approx((42.0, 42.0, 42.0))


def test_it_is_told_as_plain_data(cellar):
    closed_batch(cellar, "A")
    said = house_data(view(cellar))
    assert json.loads(json.dumps(said, allow_nan=False)) == said
    assert said["batches"][0]["yeast"] == "low_demand_neutral"
    assert said["batches"][0]["honey"] == "clover honey"
    assert set(said["share"]["honey"]) == {"yeast", "honey", "cellar"}
    names = {e["name"] for e in said["effects"]}
    assert {"uptake_max", "fermentable", "extract_error"} <= names
    assert all(e["unit_meaning"] and e["sd"] > 0 for e in said["effects"])


def test_a_running_batch_takes_the_house_up(cellar):
    for name in ("A", "B"):
        closed_batch(cellar, name)
    running = cellar.start("C", 30, plan=plan(CLOVER)).slug
    cellar.read(running, 2, 1.098)
    view(cellar)
    plain = work_out(cellar.ledger, running, cellar.now)
    mine = work_out(cellar.ledger, running, cellar.now, cellar.compose.house_for())
    assert plain.house == ""
    assert mine.house
    assert mine.gravity != plain.gravity
    assert any("finished batches" in note for note in mine.notes)


def test_learning_looks_at_the_batch_alone(cellar):
    """What a batch teaches does not depend on what others taught."""
    closed_batch(cellar, "A")
    first = learn_from(cellar.ledger, cellar.compose.notebook, "a", cellar.now).summary
    closed_batch(cellar, "B", QUICK)
    view(cellar)
    assert learn_from(cellar.ledger, cellar.compose.notebook, "a", cellar.now).summary == first
