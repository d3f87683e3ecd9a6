"""What the kept musts would do: plans and comparisons with their forecasts, each computed once."""

from __future__ import annotations

import threading
from collections.abc import Hashable, Sequence
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
from mustwright.recent import Recent
from mustwright.services import records as use
from mustwright.services.records import Key
from mustwright.services.repository import Cellar, Record

KEPT_RESULTS = 96
KEPT_RUNS = 24  # whole forecasts, about a megabyte each at most

_ONE_RUN = threading.Lock()
# What was forecast already, so that a list need not wait for it.
_ranked: Recent[bool] = Recent(KEPT_RESULTS)


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
    key, own = told_by(cellar, text, name, house)
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
    return _plan(*told_by(cellar, text, name, house), protocol)


def foreseen_planned(
    cellar: Cellar,
    text: str,
    name: str,
    protocol: str | None = None,
    house: HouseFor | None = None,
) -> Planned | None:
    """A plan's own forecast for a what-if; None while the forecast is compiled."""
    use.plan_text(cellar, text, name, protocol)  # refuses what cannot be planned
    if not is_ready():
        return None
    key, own = told_by(cellar, text, name, house)
    return _planned(key, protocol or _every(key, own).suits_best, own)


def told_by(
    cellar: Cellar, text: str, name: str, house: HouseFor | None = None
) -> tuple[Key, HousePrior | None]:
    """All that the forecasts of a must depend on.

    Raises
    ------
    InputError, ImpossibleError, UnknownKindError
    """
    key = use.planned_key(cellar, text, name)
    told = key, at_home(use.compared(*key).ground, house).house
    _ranked.get(told)  # asked for again: not to be forgotten first
    return told


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
def _plan(key: Key, own: HousePrior | None, protocol: str | None) -> PlanResult:
    return acid_of_plan(with_levers(_every(key, own), protocol))


def _every(key: Key, own: HousePrior | None) -> Comparison:
    """Every protocol, forecast and ranked."""
    _ranked.keep((key, own), True)
    return _comparison(key, tuple(plan.protocol for plan in use.compared(*key).plans), own)


@lru_cache(maxsize=KEPT_RUNS)
def _planned(key: Key, protocol: str, own: HousePrior | None) -> Planned:
    bare = use.compared(*key).of(protocol)
    return planned_forecast(replace(bare, ground=replace(bare.ground, house=own)))


def outlooks(
    cellar: Cellar, records: Sequence[Record], house: HouseFor | None = None
) -> list[Outlook]:
    """How kept musts stand: as recommended where forecast, else by trade practice.

    A list of many musts does not wait for their forecasts: the page of each works its own out.
    """
    keys = use.planned_keys(cellar, records)
    return [_outlook(*both, house) for both in zip(records, keys, strict=True)]


def told_of(
    cellar: Cellar, records: Sequence[Record], house: HouseFor | None = None
) -> tuple[Hashable, ...]:
    """All that `outlooks` of these musts depend on: the same as long as they are."""
    keys = use.planned_keys(cellar, records)
    return tuple(_told(*both, house) for both in zip(records, keys, strict=True))


def _told(record: Record, key: Key, house: HouseFor | None) -> Hashable:
    try:
        own = at_home(use.compared(*key).ground, house).house
    except InputError:
        return record, key
    return record, key, own, _ranked.get((key, own)) is not None


def _outlook(record: Record, key: Key, house: HouseFor | None) -> Outlook:
    try:
        full = use.compared(*key)
        own = at_home(full.ground, house).house
        if _ranked.get((key, own)):
            return Outlook(record, _plan(key, own, None), None, is_ranked=True)
        return Outlook(record, full.of(full.suits_best, chosen=True), None)
    except InputError as error:
        return Outlook(record, None, error)
