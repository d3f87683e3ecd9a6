"""The acid of a kept must: the use case of the command, with the cellar's shelf and protocols."""

from __future__ import annotations

from functools import lru_cache

from mustwright.planning.acidity.report import acidity
from mustwright.planning.acidity.request import AcidityRequest
from mustwright.planning.acidity.result import AcidityResult
from mustwright.planning.likeness import HouseFor
from mustwright.services import records as use
from mustwright.services.cached_forecasts import foreseen_plan
from mustwright.services.own_protocols import protocols_in
from mustwright.services.repository import Cellar, Record
from mustwright.toml_text import table_in
from mustwright.unit_system import choosing

KEPT_RESULTS = 48


def kept_acidity(
    cellar: Cellar,
    record: Record,
    asked: AcidityRequest,
    protocol: str | None = None,
    house: HouseFor | None = None,
) -> AcidityResult:
    """The acid of a kept must under a protocol; each answer is computed once.

    Parameters
    ----------
    protocol : str or None
        Id; None takes the one that the page of the must recommends.
    house : callable or None
        Gives what the maker's finished batches say of such a fermentation.

    Raises
    ------
    InputError, ImpossibleError, UnknownKindError
    """
    if protocol is None:
        protocol = foreseen_plan(cellar, record.text, record.name, house=house).plan.protocol
    return _answer(use.planned_key(cellar, record.text, record.name), asked, protocol)


def ph_in_sheet(text: str) -> bool:
    """Whether a sheet carries a measured pH."""
    return "ph" in table_in(text, "measured")


@lru_cache(maxsize=KEPT_RESULTS)
def _answer(key: use.Key, asked: AcidityRequest, protocol: str | None) -> AcidityResult:
    text, name, own_texts, units = key
    with choosing(units):
        return acidity(text, asked, protocol, protocols_in(own_texts), name)
