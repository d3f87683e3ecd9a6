"""Plan a must: what to mix, how to pitch, what to feed when, by one protocol or by all of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from mustwright.errors import InputError
from mustwright.nutrition.choose import judge
from mustwright.nutrition.plan import plan_feeding
from mustwright.nutrition.protocols import Protocol, built_in_protocols, protocol_called
from mustwright.planning.must_setup import Ground, ground_of
from mustwright.planning.plan_result import Comparison, PlanResult
from mustwright.planning.ranking import aim_called, rank
from mustwright.texts import say


def plan(
    text: str,
    protocol: str | None = None,
    own: Mapping[str, Protocol] | None = None,
    name: str = "must",
    aim: str | None = None,
    as_written: bool = False,
) -> PlanResult:
    """Plan the must of a sheet.

    Parameters
    ----------
    text : str
        The sheet, TOML.
    protocol : str or None
        Id of a protocol; None picks one by trade practice, see `mustwright.planning.plan_forecast.
        recommended` for the pick by outcome.
    own : mapping of str to Protocol or None
        The maker's own protocols, by id.
    name : str
        For a sheet without a name.
    aim : str or None
        Id of what the maker wants most, in place of what the sheet says.
    as_written : bool
        Follow protocols as their authors wrote them, the law apart, whatever the sheet says.

    Returns
    -------
    PlanResult

    Raises
    ------
    InputError, ImpossibleError, UnknownKindError
    """
    own = own or {}
    ground = _wished(ground_of(text, name), aim, as_written)
    if protocol is not None:
        one = protocol_called(protocol, own)
        return _compare(ground, [one]).of(one.id)
    comparison = compare_on(ground, own)
    return comparison.of(comparison.suits_best, chosen=True)


def compare_on(ground: Ground, own: Mapping[str, Protocol]) -> Comparison:
    """Every protocol on a must that is mixed and credited already."""
    return _compare(ground, _every_protocol(own))


def compare(
    text: str,
    protocols: Sequence[str] | None = None,
    own: Mapping[str, Protocol] | None = None,
    name: str = "must",
    aim: str | None = None,
    as_written: bool = False,
) -> Comparison:
    """Plan the must of a sheet by several protocols.

    Parameters
    ----------
    text : str
        The sheet, TOML.
    protocols : sequence of str or None
        Ids; all of them when None.
    own : mapping of str to Protocol or None
        The maker's own protocols, by id.
    name : str
        For a sheet without a name.
    aim : str or None
        Id of what the maker wants most, in place of what the sheet says.
    as_written : bool
        Follow protocols as their authors wrote them, the law apart, whatever the sheet says.

    Returns
    -------
    Comparison
        Ranked by trade practice until it is forecast.

    Raises
    ------
    InputError, ImpossibleError, UnknownKindError
    """
    own = own or {}
    ground = _wished(ground_of(text, name), aim, as_written)
    if protocols is None:
        chosen = _every_protocol(own)
    else:
        chosen = [protocol_called(identity, own) for identity in dict.fromkeys(protocols)]
        if not chosen:
            raise InputError("protocol", say("needs at least one protocol to compare"), "none")
    return _compare(ground, chosen)


def _wished(ground: Ground, aim: str | None, as_written: bool) -> Ground:
    """The same must with another aim, or with protocols followed as written."""
    if aim is not None:
        ground = replace(ground, sheet=replace(ground.sheet, aim=aim_called(aim, "aim")))
    if as_written:
        ground = replace(
            ground,
            sheet=replace(ground.sheet, follow_author=True),
            setting=replace(ground.setting, follow_author=True),
        )
    return ground


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
        rank([{} for _ in plans], verdicts, ground.sheet.aim),
        ground.warnings,
        ground,
    )
