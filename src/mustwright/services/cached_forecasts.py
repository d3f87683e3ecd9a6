"""What the kept musts would do: plans and comparisons with their forecasts, each computed once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

from mustwright.kinetics.house_prior import HousePrior
from mustwright.kinetics.ready import is_ready
from mustwright.planning.acidity.protocol_risk import acid_of_comparison, acid_of_plan
from mustwright.planning.likeness import HouseFor, at_home
from mustwright.planning.plan_forecast import foresee_comparison, foresee_plan
from mustwright.planning.plan_result import Comparison, PlanResult
from mustwright.planning.what_if import Planned, planned_forecast
from mustwright.services import records as use
from mustwright.services.repository import Cellar

KEPT_RESULTS = 96
KEPT_RUNS = 24  # whole forecasts, about a megabyte each at most

Key = tuple[str, str, tuple[str, ...]]


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
    return _plan(use.planned_key(cellar, text, name), bare.plan.protocol, protocol is None, own)


def foreseen_planned(
    cellar: Cellar,
    text: str,
    name: str,
    protocol: str | None = None,
    house: HouseFor | None = None,
) -> Planned | None:
    """A plan's own forecast for a what-if; None while the forecast is compiled."""
    bare = use.plan_text(cellar, text, name, protocol)
    if not is_ready():
        return None
    own = at_home(bare.ground, house).house
    return _planned(use.planned_key(cellar, text, name), bare.plan.protocol, own)


@lru_cache(maxsize=KEPT_RESULTS)
def _comparison(key: Key, picked: tuple[str, ...], own: HousePrior | None) -> Comparison:
    bare = use.compared(*key).only(picked)
    return foresee_comparison(replace(bare, ground=replace(bare.ground, house=own)))


@lru_cache(maxsize=KEPT_RESULTS)
def _with_acid(key: Key, picked: tuple[str, ...], own: HousePrior | None) -> Comparison:
    return acid_of_comparison(_comparison(key, picked, own))


@lru_cache(maxsize=KEPT_RESULTS)
def _plan(key: Key, protocol: str, chosen: bool, own: HousePrior | None) -> PlanResult:
    bare = use.compared(*key).of(protocol, chosen)
    return acid_of_plan(foresee_plan(replace(bare, ground=replace(bare.ground, house=own))))


@lru_cache(maxsize=KEPT_RUNS)
def _planned(key: Key, protocol: str, own: HousePrior | None) -> Planned:
    bare = use.compared(*key).of(protocol)
    return planned_forecast(replace(bare, ground=replace(bare.ground, house=own)))
