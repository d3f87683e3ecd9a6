"""What readings say is weighed once, and again as soon as anything it rests on is another."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from batch_pages import NOW
from batches import plan
from mustwright.batch import rest_or_fall
from mustwright.batch.corrected_readings import Point
from mustwright.batch.end_gravity import end_gravity
from mustwright.batch.rest_or_fall import weigh
from mustwright.batch.series import Series
from mustwright.recent import Recent

FALLS = (1.090, 1.080, 1.071, 1.063, 1.056)


def series(gravities=FALLS, apart_h=24.0, sd=0.001):
    return Series.of(
        [
            Point(NOW + timedelta(hours=apart_h * k), apart_h * k, g, sd, 0.1 * k, 1.1, f"r{k}")
            for k, g in enumerate(gravities, 1)
        ]
    )


@pytest.fixture
def weighed(monkeypatch):
    """Counts how often readings are weighed, in an empty memory."""
    counts = []
    real = rest_or_fall._weighed
    monkeypatch.setattr(rest_or_fall, "_weighed", lambda *a: counts.append(a) or real(*a))
    monkeypatch.setattr(rest_or_fall, "_kept", Recent(1e6, rest_or_fall._kept._weight))
    return counts


def test_the_same_readings_are_weighed_once_whatever_time_it_is(weighed):
    end = end_gravity(plan().must)
    first = weigh(series(), end, 20.0, 1.0)
    assert weigh(series(), end_gravity(plan().must), 20.2, 2.0) == first
    later = weigh(series(), end, 20.0, 60.0)
    assert len(weighed) == 1
    assert later.sugar_left_g_l.p50 < first.sugar_left_g_l.p50
    assert later.left_when_read_g_l == first.left_when_read_g_l
    rest_or_fall._kept.drop(next(iter(rest_or_fall._kept._kept)))
    assert weigh(series(), end, 20.0, 60.0) == later
    assert len(weighed) == 2


def test_whatever_it_rests_on_weighs_anew(weighed):
    end = end_gravity(plan().must)
    asked = [
        (series(), end, 20.0, 1.0, 1.0),
        (series((*FALLS, 1.050)), end, 20.0, 1.0, 1.0),
        (series((*FALLS[:-1], 1.057)), end, 20.0, 1.0, 1.0),
        (series(apart_h=23.0), end, 20.0, 1.0, 1.0),
        (series(sd=0.002), end, 20.0, 1.0, 1.0),
        (series(), end_gravity(plan().must, 1.115), 20.0, 1.0, 1.0),
        (series(), end, 24.0, 1.0, 1.0),
        (series(), end, 20.0, 1.0, 5.0),
    ]
    found = [weigh(*one) for one in asked]
    assert len(weighed) == len(asked)
    assert len({repr(one) for one in found}) == len(asked)
    assert [weigh(*one) for one in asked] == found
    assert len(weighed) == len(asked)


def test_half_days_of_a_device_are_means_of_their_readings():
    many = series(np.linspace(1.06, 1.05, 60).round(4), apart_h=5.0)
    hours, gravity, sd = rest_or_fall._window(many)
    bins = np.floor((many.hours[-1] - many.hours) / rest_or_fall.BIN_H)
    taken = np.unique(bins)[: rest_or_fall.MOST_READINGS][::-1]
    assert len(hours) == len(taken) == rest_or_fall.MOST_READINGS
    for k, one in enumerate(taken):
        rows = bins == one
        assert hours[k] == many.hours[rows].mean()
        assert gravity[k] == many.gravity[rows].mean()
        assert sd[k] == many.gravity_sd[rows].mean() / np.sqrt(min(rows.sum(), 4))


def test_only_so_much_is_kept(monkeypatch):
    weight = rest_or_fall._kept._weight
    one = rest_or_fall._weighed(series(), end_gravity(plan().must), 20, 1.0)
    assert one.left.nbytes < weight(one) < 100_000
    monkeypatch.setattr(rest_or_fall, "_kept", Recent(2.5 * weight(one), weight))
    for odds in range(1, 8):
        weigh(series(), end_gravity(plan().must), 20.0, 1.0, float(odds))
    assert 1 <= len(rest_or_fall._kept._kept) <= 3
    assert replace(one, stood_h=1.0).stood_h == 1.0
