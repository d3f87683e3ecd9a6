"""The house: split into house and batch, exact to leave out, sceptical, like with like."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from mustwright.errors import InputError
from mustwright.kinetics.forecast import forecast
from mustwright.kinetics.house_prior import HousePrior
from mustwright.kinetics.inputs import MustAtPitch
from mustwright.kinetics.parameters import EFFECT, EFFECTS, population_of_house
from mustwright.kinetics.reading_verdict import ReadingVerdict
from mustwright.kinetics.update import Posterior
from mustwright.learning.batch_summary import (
    BatchSummary,
    information,
    summary_of_members,
    summary_of_posterior,
)
from mustwright.learning.house import (
    GROUPS,
    PRIOR,
    SHARES,
    effects_of,
    group_of,
    house_of,
    prior_for,
)
from mustwright.learning.house_text import MEANINGS, meaning_of
from mustwright.planning.likeness import Likeness

SIZE = len(EFFECTS)
LIKE = Likeness("low-demand neutral", "clover honey")
MUST = MustAtPitch.from_gravity(1.090, 19.0, amino_n_mg_l=180.0)


def summary(name: str, z: np.ndarray, precise: float, random, likeness=LIKE) -> BatchSummary:
    """A batch whose readings tell eight effects with a precision, the others not at all."""
    told = np.zeros(SIZE)
    told[:8] = precise
    variance = 1 / (1 + told)
    mean = variance * (told * z + np.sqrt(told) * random.standard_normal(SIZE))
    covariance = tuple(tuple(float(c) for c in row) for row in np.diag(variance))
    return BatchSummary(name, likeness, tuple(map(float, mean)), covariance, 10**6)


def batches(share: float, count: int, random, likeness=LIKE, precise=4.0):
    """Summaries of one maker's batches, and the effects of the next one."""
    house = random.standard_normal(SIZE)
    z = [
        np.sqrt(share) * house + np.sqrt(1 - share) * random.standard_normal(SIZE)
        for _ in range(count + 1)
    ]
    made = [summary(f"b{k}", z[k], precise, random, likeness) for k in range(count)]
    return made, z[-1]


def test_no_finished_batch_is_no_house():
    assert house_of([]) is None
    assert prior_for(None, LIKE) is None
    assert population_of_house("honey", None) is None
    unmet = summary("b", np.zeros(SIZE), 4.0, np.random.default_rng(1))
    assert house_of([BatchSummary(**{**vars(unmet), "explained": False})]) is None


def test_without_a_house_the_forecast_is_the_same_to_the_last_bit():
    plain = forecast(MUST, members=64)
    none = forecast(MUST, members=64, prior=population_of_house("honey", None))
    assert np.array_equal(plain.gravity.p50, none.gravity.p50)
    assert np.array_equal(plain.dry_at_h, none.dry_at_h)


def test_a_house_that_says_nothing_changes_nothing():
    identity = tuple(tuple(row) for row in np.eye(SIZE).tolist())
    same = HousePrior((0.0,) * SIZE, identity, "none")
    plain = forecast(MUST, members=64)
    found = forecast(MUST, members=64, prior=population_of_house("honey", same))
    assert found.gravity.p50 == pytest.approx(plain.gravity.p50, abs=1e-6)


def test_a_slow_house_is_forecast_slower():
    mean = np.zeros(SIZE)
    mean[EFFECT["uptake_max"]] = -2.0
    identity = tuple(tuple(row) for row in (0.5 * np.eye(SIZE)).tolist())
    slow = HousePrior(tuple(mean), identity, "slow")
    plain = forecast(MUST, members=256)
    found = forecast(MUST, members=256, prior=population_of_house("honey", slow))
    assert found.hours_to_dry.p50 > plain.hours_to_dry.p50 + 24


def test_a_house_of_the_wrong_size_is_refused():
    with pytest.raises(InputError):
        HousePrior((0.0,), ((1.0, 0.0),), "x")


def dense(made: list[BatchSummary]) -> tuple[np.ndarray, np.ndarray, dict[str, float]]:
    """The same answer by one large Gaussian over all batches and the next: no clever algebra."""
    count = len(made) + 1
    group = np.array([GROUPS.index(group_of(e)) for e in EFFECTS])
    precision = np.zeros((count * SIZE, count * SIZE))
    vector = np.zeros(count * SIZE)
    for k, one in enumerate(made):
        at = slice(k * SIZE, (k + 1) * SIZE)
        precision[at, at], vector[at] = information(one)
    weights, means, covariances, grid = [], [], [], list(product(SHARES, repeat=len(GROUPS)))
    for shares in grid:
        rho = np.array(shares)[group]
        between = np.ones((count, count)) - np.eye(count)
        covariance = np.eye(count * SIZE) + np.kron(between, np.diag(rho))
        after = np.linalg.inv(np.linalg.inv(covariance) + precision)
        mean = after @ vector
        log = 0.5 * vector @ mean + 0.5 * (
            np.linalg.slogdet(after)[1] - np.linalg.slogdet(covariance)[1]
        )
        prior = np.prod([PRIOR[SHARES.index(r)] for r in shares])
        weights.append(np.log(prior) + log)
        last = slice((count - 1) * SIZE, count * SIZE)
        means.append(mean[last])
        covariances.append(after[last, last])
    w = np.exp(np.array(weights) - max(weights))
    w /= w.sum()
    middle = w @ np.array(means)
    apart = np.array(means) - middle
    whole = np.einsum("c,cij->ij", w, np.array(covariances) + apart[:, :, None] * apart[:, None])
    return middle, whole, {g: float(w @ np.array(grid)[:, k]) for k, g in enumerate(GROUPS)}


def test_it_is_the_gaussian_answer():
    made, _ = batches(0.6, 3, np.random.default_rng(4))
    house = house_of(made)
    prior = prior_for(house, LIKE)
    mean, covariance, share = dense(made)
    assert np.array(prior.mean) == pytest.approx(mean, abs=1e-8)
    assert np.array(prior.covariance) == pytest.approx(covariance, abs=1e-8)
    assert house.share == pytest.approx(share, abs=1e-8)


def test_the_order_of_batches_does_not_matter_and_leaving_one_out_is_exact():
    made, _ = batches(0.7, 6, np.random.default_rng(2))
    forward, backward = (prior_for(house_of(m), LIKE) for m in (made, made[::-1]))
    assert forward == backward
    without = prior_for(house_of([m for m in made if m.batch != "b3"]), LIKE)
    never = prior_for(house_of(made[:3] + made[4:]), LIKE)
    assert without == never
    assert without != forward


def test_like_with_like():
    random = np.random.default_rng(3)
    made, _ = batches(0.8, 5, random)
    house = house_of(made)
    other = prior_for(house, Likeness("high-demand", "buckwheat honey"))
    yeast = [k for k, e in enumerate(EFFECTS) if group_of(e) == "yeast"]
    assert np.array(other.mean)[yeast] == pytest.approx(np.zeros(len(yeast)), abs=1e-9)
    same = prior_for(house, Likeness(LIKE.yeast, "buckwheat honey"))
    assert np.abs(np.array(same.mean)[yeast]).max() > 0.5
    unknown = prior_for(house, Likeness())
    assert np.array(unknown.mean)[yeast] == pytest.approx(np.zeros(len(yeast)), abs=1e-9)


def test_batches_of_unknown_yeast_are_alike_to_none():
    random = np.random.default_rng(3)
    made, _ = batches(0.8, 4, random, likeness=Likeness())
    prior = prior_for(house_of(made), Likeness())
    yeast = [k for k, e in enumerate(EFFECTS) if group_of(e) == "yeast"]
    assert np.array(prior.mean)[yeast] == pytest.approx(np.zeros(len(yeast)), abs=1e-9)


def test_effects_are_told_with_what_they_rest_on():
    made, _ = batches(0.7, 4, np.random.default_rng(5))
    told = effects_of(house_of(made))
    assert {e.name for e in told} == set(EFFECTS)
    assert all(e.batches == 4 and 0 <= e.sd <= 1 for e in told)
    assert {e.of for e in told} == {LIKE.yeast, LIKE.honey, ""}


def test_every_effect_is_told_in_words():
    assert [e for e in EFFECTS if e not in MEANINGS] == []
    for effect in EFFECTS:
        said = meaning_of(effect, "honey")
        assert said.startswith(MEANINGS[effect])
        assert "_" not in said


def test_directions_that_were_not_read_add_nothing():
    z = np.random.default_rng(6).standard_normal((SIZE, 2000))
    precision, vector = information(summary_of_members("b", LIKE, z))
    assert np.abs(precision).max() == 0
    assert np.abs(vector).max() == 0
    z[0] = 0.3 * z[0] + 1.0
    precision, vector = information(summary_of_members("b", LIKE, z))
    assert precision[0, 0] == pytest.approx(1 / 0.09 - 1, rel=0.1)
    assert vector[0] == pytest.approx(1 / 0.09, rel=0.1)
    assert np.linalg.eigvalsh(precision).min() > -1e-9


def test_members_of_the_wrong_shape_are_refused():
    for z in (np.zeros((3, 500)), np.zeros((SIZE, 10))):
        with pytest.raises(InputError):
            summary_of_members("b", LIKE, z)


@pytest.mark.parametrize(
    ("miss", "is_usual", "teaches"),
    [
        ((0.2, 0.1, 0.3), True, True),
        ((0.2, 5.0, 0.3), True, True),  # one odd reading that others came after
        ((0.2, 0.3, 5.0), True, False),
        ((5.0, 5.0, 0.3), True, False),
        ((0.2, 0.1, 0.3), False, False),
    ],
)
def test_a_batch_that_usual_runs_meet_teaches_even_where_the_course_was_bent(
    miss, is_usual, teaches
):
    bent = ReadingVerdict(False, None, miss, 0.0, "", bend=3.0, is_usual=is_usual)
    z = np.random.default_rng(8).standard_normal((SIZE, 200))
    found = summary_of_posterior("b", LIKE, Posterior(z, bent, {}))
    assert found.explained is teaches
    assert (house_of([found]) is not None) is teaches
    assert found.mean == summary_of_members("b", LIKE, z).mean


@pytest.mark.thorough
@pytest.mark.parametrize(("share", "least", "most"), [(0.0, -0.05, 0.05), (0.7, 0.15, 1.0)])
def test_simulated_makers(share, least, most):
    """Squared error of the effects told, six batches on; 90 % bands. The full study simulates the
    ferments too: calibration/house.py."""
    random = np.random.default_rng(11)
    plain, mine, held = [], [], []
    for _ in range(60):
        made, z = batches(share, 6, random)
        prior = prior_for(house_of(made), LIKE)
        error = (z - np.array(prior.mean))[:8]
        plain.append((z[:8] ** 2).mean())
        mine.append((error**2).mean())
        held += list(np.abs(error) <= 1.645 * np.sqrt(np.diag(prior.covariance)[:8]))
    assert least <= 1 - np.mean(mine) / np.mean(plain) <= most
    assert 0.85 <= np.mean(held) <= 0.95
