"""Plan a must: what to mix, how to pitch, what to feed when, by one protocol or by all of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from mustwright.errors import InputError
from mustwright.nutrition.choose import best, judge
from mustwright.nutrition.plan import plan_feeding
from mustwright.nutrition.protocols import Protocol, built_in_protocols, protocol_called
from mustwright.planning.must_setup import Ground, ground_of
from mustwright.planning.plan_result import Comparison, PlanResult


def plan(
    text: str,
    protocol: str | None = None,
    own: Mapping[str, Protocol] | None = None,
    name: str = "must",
) -> PlanResult:
    """Plan the must of a sheet.

    Parameters
    ----------
    text : str
        The sheet, TOML.
    protocol : str or None
        Id of a protocol; None picks the one that suits best.
    own : mapping of str to Protocol or None
        The maker's own protocols, by id.
    name : str
        For a sheet without a name.

    Raises
    ------
    InputError, ImpossibleError, UnknownKindError
    """
    own = own or {}
    ground = ground_of(text, name)
    if protocol is not None:
        one = protocol_called(protocol, own)
        return _compare(ground, [one]).of(one.id)
    return plan_on(ground, own)


def plan_on(ground: Ground, own: Mapping[str, Protocol]) -> PlanResult:
    """The plan by the protocol that suits a must best."""
    comparison = _compare(ground, _every_protocol(own))
    return comparison.of(comparison.suits_best, chosen=True)


def compare(
    text: str,
    protocols: Sequence[str] | None = None,
    own: Mapping[str, Protocol] | None = None,
    name: str = "must",
) -> Comparison:
    """Plan the must of a sheet by several protocols (all of them when none are named)."""
    own = own or {}
    ground = ground_of(text, name)
    if protocols is None:
        chosen = _every_protocol(own)
    else:
        chosen = [protocol_called(identity, own) for identity in dict.fromkeys(protocols)]
        if not chosen:
            raise InputError("protocol", "needs at least one protocol to compare", "none")
    return _compare(ground, chosen)


def _every_protocol(own: Mapping[str, Protocol]) -> list[Protocol]:
    """The built-in protocols, then the maker's own."""
    return [*built_in_protocols().values(), *own.values()]


def _compare(ground: Ground, chosen: Sequence[Protocol]) -> Comparison:
    plans = tuple(plan_feeding(ground.setting, one) for one in chosen)
    verdicts = tuple(
        judge(p, one, ground.setting, ground.fruit) for p, one in zip(plans, chosen, strict=True)
    )
    return Comparison(
        ground.sheet.name,
        ground.must,
        ground.setting.pitch,
        ground.setting.strain,
        ground.setting.profile,
        plans,
        verdicts,
        plans[best(verdicts)].protocol,
        ground.warnings,
        ground,
    )
