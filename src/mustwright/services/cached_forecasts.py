"""What the kept musts would do: plans and comparisons with their forecasts, each computed once."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from mustwright.errors import InputError
from mustwright.kinetics.ready import is_ready
from mustwright.planning.acidity.protocol_risk import acid_of_comparison, acid_of_plan
from mustwright.planning.levers import with_levers
from mustwright.planning.plan_forecast import foresee_comparison
from mustwright.planning.plan_result import Comparison, PlanResult
from mustwright.planning.what_if import Planned, planned_forecast
from mustwright.services import records as use
from mustwright.services.repository import Cellar, Record

KEPT_RESULTS = 96
KEPT_RUNS = 24  # whole forecasts, about a megabyte each at most

Key = tuple[str, str, tuple[str, ...]]
_ONE_RUN = threading.Lock()
_ranked: set[Key] = set()  # what was forecast already, so that a list need not wait


@dataclass(frozen=True)
class Outlook:
    """One kept must and how it stands: a plan, or why there is none."""

    record: Record
    result: PlanResult | None
    error: InputError | None
    is_ranked: bool = False


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
    return _plan(use.planned_key(cellar, text, name), protocol)


def foreseen_planned(
    cellar: Cellar, text: str, name: str, protocol: str | None = None
) -> Planned | None:
    """A plan's own forecast for a what-if; None while the forecast is compiled."""
    use.plan_text(cellar, text, name, protocol)  # refuses what cannot be planned
    if not is_ready():
        return None
    key = use.planned_key(cellar, text, name)
    return _planned(key, protocol or _every(key).suits_best)


def _comparison(key: Key, picked: tuple[str, ...]) -> Comparison:
    """One run for every page that asks at the same time: the later ones wait for it."""
    with _ONE_RUN:
        return _foreseen(key, picked)


@lru_cache(maxsize=KEPT_RESULTS)
def _foreseen(key: Key, picked: tuple[str, ...]) -> Comparison:
    return foresee_comparison(use.compared(*key).only(picked))


@lru_cache(maxsize=KEPT_RESULTS)
def _with_acid(key: Key, picked: tuple[str, ...]) -> Comparison:
    return acid_of_comparison(_comparison(key, picked))


@lru_cache(maxsize=KEPT_RESULTS)
def _plan(key: Key, protocol: str | None) -> PlanResult:
    return acid_of_plan(with_levers(_every(key), protocol))


def _every(key: Key) -> Comparison:
    """Every protocol, forecast and ranked."""
    if len(_ranked) >= KEPT_RESULTS:
        _ranked.clear()
    _ranked.add(key)
    return _comparison(key, tuple(plan.protocol for plan in use.compared(*key).plans))


@lru_cache(maxsize=KEPT_RUNS)
def _planned(key: Key, protocol: str) -> Planned:
    return planned_forecast(use.compared(*key).of(protocol))


def outlook(cellar: Cellar, record: Record) -> Outlook:
    """How one kept must stands: as recommended where it was forecast, else by trade practice.

    A list of many musts does not wait for their forecasts: the page of each works its own out.
    """
    try:
        key = use.planned_key(cellar, record.text, record.name)
        if key in _ranked:
            return Outlook(record, _plan(key, None), None, is_ranked=True)
        return Outlook(record, use.plan_text(cellar, record.text, record.name), None)
    except InputError as error:
        return Outlook(record, None, error)


def outlooks(cellar: Cellar) -> list[Outlook]:
    """How every kept must stands, the one last changed first."""
    records = sorted(cellar.records("sheet"), key=lambda r: r.updated_at, reverse=True)
    return [outlook(cellar, record) for record in records]
