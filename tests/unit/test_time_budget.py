"""No answer takes longer than it may, however much work a text asks for."""

from __future__ import annotations

import time

import pytest

from batches import CLOVER
from mustwright.kinetics.forecast import forecast, forecast_plans
from mustwright.kinetics.inputs import MustAtPitch
from mustwright.nutrition import shelf
from mustwright.planning.plan import compare
from mustwright.time_budget import TimeBudget, TooMuchWorkError, limited_to, spend

SHELF = "\n[shelf]\n" + "".join(f'n{i}={{kind="dap",price_per_kg={i + 1}}}\n' for i in range(300))


def worked(seconds: float) -> None:
    until = time.thread_time() + seconds
    while time.thread_time() < until:
        pass


def test_without_a_budget_there_is_no_limit():
    spend()
    worked(0.05)
    spend()


def test_work_is_counted_and_waiting_is_not():
    with limited_to(0.2):
        spend()
        time.sleep(0.3)
        spend()
        worked(0.3)
        with pytest.raises(TooMuchWorkError, match=r"0\.2 seconds"):
            spend()
    spend()


def test_each_thread_has_the_budget_of_its_answer():
    from concurrent.futures import ThreadPoolExecutor

    budget = TimeBudget(0.2)
    budget.spend()
    worked(0.3)
    with ThreadPoolExecutor(1) as other:
        other.submit(budget.spend).result()
    with pytest.raises(TooMuchWorkError):
        budget.spend()


def test_a_shelf_that_would_take_minutes_ends_with_its_budget(monkeypatch):
    monkeypatch.setattr(shelf, "MOST_NUTRIENTS", 1000)
    with limited_to(0.5), pytest.raises(TooMuchWorkError, match="fewer nutrients"):
        compare(CLOVER.partition("\n[shelf]")[0] + SHELF, None, {}, "must")


def test_a_forecast_is_not_begun_once_the_budget_is_spent():
    must = MustAtPitch.from_gravity(1.100, 19.0, amino_n_mg_l=200.0)
    with limited_to(0.1):
        spend()
        worked(0.2)
        with pytest.raises(TooMuchWorkError):
            forecast(must, members=64)
        with pytest.raises(TooMuchWorkError):
            forecast_plans(must, [(), ()], members=64)
