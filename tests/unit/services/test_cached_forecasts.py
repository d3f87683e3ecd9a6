"""Kept results: the same figures alone and among others, nothing while it is being compiled."""

from __future__ import annotations

import threading

import pytest

from mustwright.kinetics import ready
from mustwright.services import cached_forecasts
from mustwright.services import records as use

pytestmark = pytest.mark.usefixtures("forecasts")
SOME = ["everything_at_pitch", "label_rate_days_1_2_3"]


@pytest.mark.thorough
def test_alone_and_among_others_the_same_is_said(bare_cellar, sheet):
    full = cached_forecasts.foreseen_comparison(bare_cellar, sheet, "x")
    some = cached_forecasts.foreseen_comparison(bare_cellar, sheet, "x", SOME)
    for compared in (full, some):
        k = [plan.protocol for plan in compared.plans].index(SOME[1])
        alone = cached_forecasts.foreseen_plan(bare_cellar, sheet, "x", SOME[1])
        assert alone.outcome.days_to_dry == compared.outcomes[k].days_to_dry
        assert alone.plan == compared.plans[k]
    best = [p.protocol for p in some.plans].index(some.suits_best)
    assert some.outcomes[best].against_best == ""
    assert some.outcomes[1 - best].against_best != ""


def test_the_best_is_foreseen_where_none_is_named(bare_cellar, sheet):
    chosen = cached_forecasts.foreseen_plan(bare_cellar, sheet, "x")
    assert chosen.chosen
    assert chosen.plan.protocol == use.compare_text(bare_cellar, sheet, "x").suits_best


def test_a_second_view_computes_nothing(bare_cellar, sheet):
    first = cached_forecasts.foreseen_comparison(bare_cellar, sheet, "y")
    alone = cached_forecasts.foreseen_plan(bare_cellar, sheet, "y")
    assert cached_forecasts.foreseen_comparison(bare_cellar, sheet, "y") is first
    assert cached_forecasts.foreseen_plan(bare_cellar, sheet, "y") is alone


def test_while_it_is_compiled_there_is_no_forecast(bare_cellar, sheet, monkeypatch):
    monkeypatch.setattr(ready, "_READY", threading.Event())
    assert cached_forecasts.foreseen_comparison(bare_cellar, sheet, "x").outcomes == ()
    assert cached_forecasts.foreseen_plan(bare_cellar, sheet, "x").outcome is None
    assert cached_forecasts.foreseen_planned(bare_cellar, sheet, "x") is None
