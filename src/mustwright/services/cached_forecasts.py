"""What the kept musts would do: plans and comparisons with their forecasts, each computed once."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from mustwright.errors import InputError
from mustwright.kinetics.house_prior import HousePrior
from mustwright.kinetics.ready import is_ready
from mustwright.planning.acidity.protocol_risk import acid_of_comparison, acid_of_plan
from mustwright.planning.levers import with_levers
from mustwright.planning.likeness import HouseFor, at_home
from mustwright.planning.plan_forecast import foresee_comparison
from mustwright.planning.plan_result import Comparison, PlanResult
from mustwright.planning.what_if import Planned, planned_forecast
from mustwright.services import records as use
from mustwright.services.records import Key
from mustwright.services.repository import Cellar, Record

KEPT_RESULTS = 96
KEPT_RUNS = 24  # whole forecasts, about a megabyte each at most

_ONE_RUN = threading.Lock()
# What was forecast already, so that a list need not wait for it.
_ranked: set[tuple[Key, HousePrior | None]] = set()


@dataclass(frozen=True)
class Outlook:
    """One kept must and how it stands: a plan, or why there is none."""

    record: Record
    result: PlanResult | None
    error: InputError | None
    is_ranked: bool = False


def foreseen_comparison(
    cellar: Cellar,
    text: str,
    name: str,
    protocols: Sequence[str] = (),
    acid: bool = False,
    house: HouseFor | None = None,
) -> Comparison:
    """A comparison with what each plan would do; without it while the forecast is compiled.

    Parameters
    ----------
    acid : bool
        Also the acid of each plan, which takes longer than all the rest together.
    house : callable or None
        Gives what the maker's finished batches say of such a fermentation.

    Raises
    ------
    InputError, ImpossibleError, UnknownKindError
    """
    bare = use.compare_text(cellar, text, name, protocols)
    if not is_ready():
        return bare
    picked = tuple(plan.protocol for plan in bare.plans)
    key = use.planned_key(cellar, text, name)
    own = at_home(bare.ground, house).house
    return _with_acid(key, picked, own) if acid else _comparison(key, picked, own)


def foreseen_plan(
    cellar: Cellar,
    text: str,
    name: str,
    protocol: str | None = None,
    house: HouseFor | None = None,
) -> PlanResult:
    """A plan with what it would do and its feeds when they are expected; see above."""
    bare = use.plan_text(cellar, text, name, protocol)
    if not is_ready():
        return bare
    own = at_home(bare.ground, house).house
    return _plan(use.planned_key(cellar, text, name), protocol, own)


def foreseen_planned(
    cellar: Cellar,
    text: str,
    name: str,
    protocol: str | None = None,
    house: HouseFor | None = None,
) -> Planned | None:
    """A plan's own forecast for a what-if; None while the forecast is compiled."""
    bare = use.plan_text(cellar, text, name, protocol)  # refuses what cannot be planned
    if not is_ready():
        return None
    own = at_home(bare.ground, house).house
    key = use.planned_key(cellar, text, name)
    return _planned(key, protocol or _every(key, own).suits_best, own)


def _comparison(key: Key, picked: tuple[str, ...], own: HousePrior | None) -> Comparison:
    """One run for every page that asks at the same time: the later ones wait for it."""
    with _ONE_RUN:
        return _foreseen(key, picked, own)


@lru_cache(maxsize=KEPT_RESULTS)
def _foreseen(key: Key, picked: tuple[str, ...], own: HousePrior | None) -> Comparison:
    bare = use.compared(*key).only(picked)
    return foresee_comparison(replace(bare, ground=replace(bare.ground, house=own)))


@lru_cache(maxsize=KEPT_RESULTS)
def _with_acid(key: Key, picked: tuple[str, ...], own: HousePrior | None) -> Comparison:
    return acid_of_comparison(_comparison(key, picked, own))


@lru_cache(maxsize=KEPT_RESULTS)
def _plan(key: Key, protocol: str | None, own: HousePrior | None) -> PlanResult:
    return acid_of_plan(with_levers(_every(key, own), protocol))


def _every(key: Key, own: HousePrior | None) -> Comparison:
    """Every protocol, forecast and ranked."""
    if len(_ranked) >= KEPT_RESULTS:
        _ranked.clear()
    _ranked.add((key, own))
    return _comparison(key, tuple(plan.protocol for plan in use.compared(*key).plans), own)


@lru_cache(maxsize=KEPT_RUNS)
def _planned(key: Key, protocol: str, own: HousePrior | None) -> Planned:
    bare = use.compared(*key).of(protocol)
    return planned_forecast(replace(bare, ground=replace(bare.ground, house=own)))


def outlook(cellar: Cellar, record: Record, house: HouseFor | None = None) -> Outlook:
    """How one kept must stands: as recommended where it was forecast, else by trade practice.

    A list of many musts does not wait for their forecasts: the page of each works its own out.
    """
    try:
        key = use.planned_key(cellar, record.text, record.name)
        bare = use.plan_text(cellar, record.text, record.name)
        own = at_home(bare.ground, house).house
        if (key, own) in _ranked:
            return Outlook(record, _plan(key, None, own), None, is_ranked=True)
        return Outlook(record, bare, None)
    except InputError as error:
        return Outlook(record, None, error)


def outlooks(cellar: Cellar, house: HouseFor | None = None) -> list[Outlook]:
    """How every kept must stands, the one last changed first."""
    records = sorted(cellar.records("sheet"), key=lambda r: r.updated_at, reverse=True)
    return [outlook(cellar, record, house) for record in records]
