"""What the kept musts would do: plans and comparisons with their forecasts, each computed once."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from mustwright.kinetics.ready import is_ready
from mustwright.planning.acidity.protocol_risk import acid_of_comparison, acid_of_plan
from mustwright.planning.plan_forecast import foresee_comparison, foresee_plan
from mustwright.planning.plan_result import Comparison, PlanResult
from mustwright.planning.what_if import Planned, planned_forecast
from mustwright.services import records as use
from mustwright.services.repository import Cellar

KEPT_RESULTS = 96
KEPT_RUNS = 24  # whole forecasts, about a megabyte each at most

Key = tuple[str, str, tuple[str, ...]]


def foreseen_comparison(
    cellar: Cellar, text: str, name: str, protocols: Sequence[str] = (), acid: bool = False
) -> Comparison:
    """A comparison with what each plan would do; without it while the forecast is compiled.

    Parameters
    ----------
    acid : bool
        Also the acid of each plan, which takes longer than all the rest together.

    Raises
    ------
    InputError, ImpossibleError, UnknownKindError
    """
    bare = use.compare_text(cellar, text, name, protocols)
    if not is_ready():
        return bare
    picked = tuple(plan.protocol for plan in bare.plans)
    key = use.planned_key(cellar, text, name)
    return _with_acid(key, picked) if acid else _comparison(key, picked)


def foreseen_plan(cellar: Cellar, text: str, name: str, protocol: str | None = None) -> PlanResult:
    """A plan with what it would do and its feeds when they are expected; see above."""
    bare = use.plan_text(cellar, text, name, protocol)
    if not is_ready():
        return bare
    return _plan(use.planned_key(cellar, text, name), bare.plan.protocol, protocol is None)


def foreseen_planned(
    cellar: Cellar, text: str, name: str, protocol: str | None = None
) -> Planned | None:
    """A plan's own forecast for a what-if; None while the forecast is compiled."""
    bare = use.plan_text(cellar, text, name, protocol)
    if not is_ready():
        return None
    return _planned(use.planned_key(cellar, text, name), bare.plan.protocol)


@lru_cache(maxsize=KEPT_RESULTS)
def _comparison(key: Key, picked: tuple[str, ...]) -> Comparison:
    return foresee_comparison(use.compared(*key).only(picked))


@lru_cache(maxsize=KEPT_RESULTS)
def _with_acid(key: Key, picked: tuple[str, ...]) -> Comparison:
    return acid_of_comparison(_comparison(key, picked))


@lru_cache(maxsize=KEPT_RESULTS)
def _plan(key: Key, protocol: str, chosen: bool) -> PlanResult:
    return acid_of_plan(foresee_plan(use.compared(*key).of(protocol, chosen)))


@lru_cache(maxsize=KEPT_RUNS)
def _planned(key: Key, protocol: str) -> Planned:
    return planned_forecast(use.compared(*key).of(protocol))
