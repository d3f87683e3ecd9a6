"""Two batches side by side: what differs, what each difference would do, and the rest."""

from __future__ import annotations

import json

import numpy as np
import pytest

from batch_pages import Cellar
from batches import CLOVER, plan
from closed import QUICK, SLOW, closed_batch
from mustwright.batch.kinetic_inputs import case_of
from mustwright.batch.progress import progress
from mustwright.cli import main as cli
from mustwright.compose import Compose
from mustwright.errors import InputError
from mustwright.kinetics.forecast import fermentations
from mustwright.kinetics.ready import warm_up
from mustwright.learning.differences import FRACTION, compare_batches, days_used
from mustwright.services.compare_batches import beside, comparison_data
from mustwright.services.repository import MissingRecordError

COLD = CLOVER.replace('temperature = "20 C"', 'temperature = "16 C"')


@pytest.fixture
def cellar(tmp_path):
    warm_up()
    compose = Compose(tmp_path)
    yield Cellar(compose)
    compose.close()


def unread(cellar, name, sheet=CLOVER, feeds=()):
    """A batch whose log has no temperature, so that the sheet's counts."""
    slug = cellar.start(name, 400, plan=plan(sheet)).slug
    for key in feeds:
        cellar.feed(slug, 376, key)
    return slug


def compared(cellar, a, b):
    return beside(cellar.ledger, a, b, cellar.now)[2]


def test_two_batches_alike_have_nothing_to_tell(cellar):
    a, b = closed_batch(cellar, "A", SLOW), closed_batch(cellar, "B", QUICK)
    found = compared(cellar, a, b)
    assert found.differences == ()
    assert found.together == 0.0
    assert found.not_explained == pytest.approx(found.days_b - found.days_a)
    assert found.days_a > found.days_b > 2


def test_a_colder_batch_is_expected_to_be_slower(cellar):
    a, b = unread(cellar, "A"), unread(cellar, "B", COLD)
    found = compared(cellar, a, b)
    (warmth,) = (d for d in found.differences if d.what == "temperature")
    assert "20 °C" in warmth.a
    assert "16 °C" in warmth.b
    assert warmth.effect > 1
    assert warmth.error > 0
    assert found.not_explained is None
    back = compared(cellar, b, a)
    assert next(d for d in back.differences if d.what == "temperature").effect < -1


def test_each_difference_is_run_alone_and_the_rest_adds_up(cellar):
    a = closed_batch(cellar, "A", SLOW)
    b = cellar.start("B", 720, plan=plan(CLOVER)).slug
    cellar.feed(b, 700, "f1")
    for at, gravity in QUICK:
        cellar.read(b, 720 - at, gravity, temperature_c=24.0)
    cellar.event(b, 500, "racked")
    cellar.event(b, 0, "bottled")
    found = compared(cellar, a, b)
    told = {d.what: d for d in found.differences}
    assert {"temperature", "feeds", "done to it"} <= set(told)
    assert told["feeds"].effect < 0
    assert told["temperature"].effect < 0
    assert told["done to it"].effect is None
    effects = sum(d.effect or 0.0 for d in found.differences)
    assert found.not_explained + effects == pytest.approx(found.days_b - found.days_a)
    said = comparison_data(*beside(cellar.ledger, a, b, cellar.now))
    assert json.loads(json.dumps(said, allow_nan=False)) == said
    assert "is not proof" in said["message"]


def test_days_are_those_of_the_run_itself(cellar):
    slug = unread(cellar, "A")
    log = cellar.ledger.log(slug)
    from mustwright.batch.log import standing

    stands = standing(log)
    case = case_of(progress(stands, cellar.now), stands)
    days = days_used(case, 64)
    times = np.arange(0.0, 1008.1, 1.0)
    run = fermentations(case.must, case.feeds, case.conditions, 64, 1, times).run
    rows = np.searchsorted(run.times_h, times)
    gone = 1 - run.sugar_g_l[rows] / run.sugar_g_l[0]
    hit = np.where((gone >= FRACTION).any(axis=0), times[(gone >= FRACTION).argmax(axis=0)], 1008)
    assert days * 24 == pytest.approx(hit, abs=2.0)


def test_the_same_batch_twice_is_refused(cellar):
    slug = unread(cellar, "A")
    with pytest.raises(InputError):
        compared(cellar, slug, slug)
    with pytest.raises(MissingRecordError):
        compared(cellar, slug, "nobody")


def test_more_members_change_little(cellar):
    a, b = unread(cellar, "A"), unread(cellar, "B", COLD)
    record_a, record_b, few = beside(cellar.ledger, a, b, cellar.now)
    del record_a, record_b
    from mustwright.services.compare_batches import _opened

    one, other = (_opened(cellar.ledger, slug, cellar.now) for slug in (a, b))
    many = compare_batches((one[1], one[3]), (other[1], other[3]), members=1600)
    first = {d.what: d.effect for d in few.differences}
    for d in many.differences:
        assert d.effect == pytest.approx(first[d.what], abs=0.5)


def test_the_command(cellar, capsys, monkeypatch, tmp_path):
    a, b = unread(cellar, "A"), unread(cellar, "B", COLD)
    cellar.compose.close()
    monkeypatch.setenv("MUSTWRIGHT_HOME", str(tmp_path))
    assert cli.run(["batch", "compare", a, b, "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert {"what", "a", "b", "effect", "error"} == set(said["differences"][0])
    assert said["not_explained"] is None
    assert cli.run(["batch", "compare", a, b]) == 0
    out = capsys.readouterr().out
    assert "temperature: 20 °C" in out
    assert "must split at random" in out
