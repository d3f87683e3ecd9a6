"""How much of each: the amounts of a sheet solved for its gravity, or for the alcohol it wants."""

from __future__ import annotations

from collections.abc import Callable

from scipy.optimize import brentq

from mustwright.errors import ImpossibleError, validity_notes
from mustwright.must.blend import (
    PRIMARY,
    Blend,
    Portion,
)
from mustwright.must.gravity_text import gravity_text
from mustwright.must.solve import Wanted, solve_amounts
from mustwright.planning.sheet import Sheet
from mustwright.texts import say

HIGHEST_BRIX = 60
ALCOHOL_SLACK_PCT = 0.1


def mix(sheet: Sheet) -> Blend:
    """Solve the amounts of what goes in before pitching."""
    chosen = [
        (p, part) for p, part in zip(sheet.portions, sheet.parts, strict=True) if p.stage == PRIMARY
    ]
    portions, parts = [p for p, _ in chosen], [part for _, part in chosen]
    target = sheet.target
    if target.alcohol_pct is None:
        return solve_amounts(portions, parts, Wanted(target.volume_l, target.brix))
    return _mix_for_alcohol(sheet, portions, parts)


def _mix_for_alcohol(sheet: Sheet, portions: list[Portion], parts: list[float]) -> Blend:
    """The must whose mead has the wanted alcohol when it stops at the wanted gravity."""
    target = sheet.target
    wanted = target.alcohol_pct
    assert wanted is not None

    def mixed(brix: float) -> Blend:
        return solve_amounts(portions, parts, Wanted(target.volume_l, brix))

    def excess(brix: float) -> float:
        return _alcohol_pct(mixed(brix), target.finish_gravity) - wanted

    with validity_notes():  # the search passes through musts that no one will make
        low, high = _brix_between(sheet, portions, parts)
        bottom, top = excess(low), excess(high)
        if bottom > ALCOHOL_SLACK_PCT or top < -ALCOHOL_SLACK_PCT:
            needs = (
                say(
                    "cannot be reached: these ingredients give at least {alcohol:.1f} %",
                    alcohol=bottom + wanted,
                )
                if bottom > 0
                else say(
                    "cannot be reached: these ingredients give at most {alcohol:.1f} %",
                    alcohol=top + wanted,
                )
            )
            raise ImpossibleError("must.alcohol", needs, f"{wanted:g} %")
        if bottom < 0 < top:
            low = float(brentq(excess, low, high, xtol=1e-9))
        elif top <= 0:
            low = high
    made = mixed(low)
    dry = made.fermented().gravity
    if target.finish_gravity is not None and target.finish_gravity < dry - 5e-4:
        raise ImpossibleError(
            "must.finish",
            say(
                "is below where this must ends when all its sugar is gone: lowest is {gravity}",
                gravity=gravity_text(dry),
            ),
            gravity_text(target.finish_gravity),
        )
    return made


def _alcohol_pct(blend: Blend, finish: float | None) -> float:
    """Alcohol when the ferment stops at a gravity, or when the sugar runs out before it."""
    if finish is not None and finish >= blend.gravity:
        return 0.0
    dry = blend.fermented()
    return (
        dry if finish is None or finish <= dry.gravity else blend.fermented(finish)
    ).ethanol_pct_vol


def _brix_between(sheet: Sheet, portions: list[Portion], parts: list[float]) -> tuple[float, float]:
    """Lowest and highest Brix these ingredients can be mixed to.

    Raises
    ------
    ImpossibleError, InputError
        If no Brix is possible at all: what stands in the way.
    """
    target = sheet.target
    origins = {p.origin for p in portions}
    if "solve" not in origins and ("fill" not in origins or target.volume_l is not None):
        only = solve_amounts(portions, parts, Wanted(target.volume_l, None)).brix
        return only, only
    refusal: ImpossibleError | None = None

    def can(brix: float) -> bool:
        nonlocal refusal
        try:
            solve_amounts(portions, parts, Wanted(target.volume_l, brix))
        except ImpossibleError as error:
            refusal = error
            return False
        return True

    if can(0.0) and can(HIGHEST_BRIX):  # anything between can be mixed too
        return 0.0, float(HIGHEST_BRIX)
    found = [brix for brix in range(HIGHEST_BRIX + 1) if can(brix)]
    if not found:
        assert refusal is not None
        raise refusal
    low, high = float(found[0]), float(found[-1])
    return _edge(can, low, max(low - 1.0, 0.0)), _edge(can, high, min(high + 1.0, HIGHEST_BRIX))


def _edge(can: Callable[[float], bool], good: float, beyond: float) -> float:
    """The last Brix that can be mixed on the way from one that can to one that may not."""
    if can(beyond):
        return beyond
    for _ in range(30):
        middle = (good + beyond) / 2
        good, beyond = (middle, beyond) if can(middle) else (good, middle)
    return good
