"""Which lots in what proportions: two to six lots blended to several targets at once."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import brentq

from mustwright.errors import ImpossibleError, InputError
from mustwright.figure import ARITHMETIC, Figure, typed
from mustwright.finishing.blend_programme import largest, possible, solve
from mustwright.finishing.class_line import refuse_solids
from mustwright.finishing.law import FinishingLaw
from mustwright.finishing.liquid import BALANCE, mead, mixed
from mustwright.finishing.lots import (
    QUANTITIES,
    SCALE,
    UNITS,
    WORDS,
    BlendTarget,
    Floats,
    Lot,
    liquids,
    straight,
    true_value,
    volume_of,
)
from mustwright.finishing.step import Addition, Recorded, cautions, within
from mustwright.texts import join, say
from mustwright.unit_system import measured_volume, short_volume

FEWEST_LOTS, MOST_LOTS = 2, 6
ROUNDS = 12


@dataclass(frozen=True)
class BlendPart:
    """One lot's share of the blend."""

    name: str
    litres: Figure
    share_pct: Figure


@dataclass(frozen=True)
class Reached:
    """One target and how near the blend gets; `possible` is what these lots could give alone."""

    quantity: str
    wanted_low: float
    wanted_high: float
    reached: Figure
    off_by: Figure
    met: bool
    possible_low: float
    possible_high: float


@dataclass(frozen=True)
class BlendResult:
    """The solved blend.

    Parameters
    ----------
    feasible : bool
        All targets met; else this is the nearest blend, and `words` says what stands in the way.
    """

    feasible: bool
    goal: str
    parts: tuple[BlendPart, ...]
    targets: tuple[Reached, ...]
    volume_l: Figure
    contraction_l: Figure
    alcohol_pct: Figure
    gravity: Figure
    acidity_g_l: Figure | None
    total_so2_mg_l: Figure | None
    sugar_g_l: Figure | None
    colour: Figure | None
    cost: Figure | None
    words: str
    recorded: Recorded = field(default_factory=Recorded)


def blend_lots(
    lots: Sequence[Lot],
    targets: Sequence[BlendTarget],
    law: FinishingLaw,
    *,
    volume_l: float | None = None,
    cheapest: bool = False,
) -> BlendResult:
    """Blend lots to targets.

    Parameters
    ----------
    lots : sequence of Lot
        Two to six.
    targets : sequence of BlendTarget
        At least one; each quantity once.
    law : FinishingLaw
        Its limit of total sulfur dioxide becomes one more bound; its limit of solids is held to.
    volume_l : float or None
        Wanted, above 0 [L]; None makes as much as the targets allow (or come nearest to).
    cheapest : bool
        Least cost with every target met, instead of least deviation from the middles.

    Returns
    -------
    BlendResult
        Targets out of reach are a result, not an error.

    Raises
    ------
    InputError, ImpossibleError
        If lots or volume are impossible, or the mixture would pass a line of the profile's class.

    Notes
    -----
    The litres of the lots are the unknowns. Quantities per litre mix in proportion to litres except
    for contraction and the curvature of gravity; the difference is found from the mass balance of
    the mixture and fed back to the programme until it no longer changes. Least cost is a linear
    programme (HiGHS); least deviation minimises the squares of the deviations from the middles,
    each in its own step (0.1 % vol, 0.001 SG, 0.1 g/L, ...), within the bounds. When no blend
    meets all bounds, the sum of the squared overshoots is minimised instead.
    """
    _check(lots, targets)
    bound, most_so2 = _with_law(lots, targets, law)
    offsets: dict[str, float] = dict.fromkeys((t.quantity for t in bound), 0.0)
    amount = largest(lots, bound) if volume_l is None else _amount(lots, volume_l)
    litres, feasible = np.zeros(len(lots)), False
    for _ in range(ROUNDS):
        litres, feasible = solve(lots, targets, bound, amount, offsets, cheapest, most_so2)
        new = {q: straight(lots, litres, q) - true_value(lots, litres, q) for q in offsets}
        still = all(abs(new[q] - offsets[q]) < 1e-9 * max(1.0, abs(new[q])) for q in new)
        offsets = new
        wanted = (
            amount if volume_l is None else amount * volume_l / max(volume_of(lots, litres), 1e-9)
        )
        most = sum(lot.available_l for lot in lots)
        if still and abs(wanted - amount) < 1e-9 * amount:
            break
        amount = min(wanted, most)
    else:
        litres = _to_volume(lots, litres, volume_l)
    return _result(lots, targets, bound, litres, feasible, cheapest, law)


def _to_volume(lots: Sequence[Lot], litres: Floats, volume_l: float | None) -> Floats:
    """As near the same blend as there is in the volume wanted, within what there is of each lot.

    Where two blends are as near to the targets, rounds may go back and forth between them.
    """
    if volume_l is None or not litres.any():
        return litres
    wanted = volume_l
    least = np.array([lot.least_l for lot in lots])
    most = np.array([lot.available_l for lot in lots])

    def times(factor: float) -> Floats:
        return np.clip(factor * litres, least, most)

    def over(factor: float) -> float:
        return volume_of(lots, times(factor)) - wanted

    used = litres > 0
    low, high = 0.0, float((most[used] / litres[used]).max())
    if over(low) >= 0 or over(high) <= 0:
        return litres
    return times(float(brentq(over, low, high, xtol=1e-12)))


def _check(lots: Sequence[Lot], targets: Sequence[BlendTarget]) -> None:
    if not FEWEST_LOTS <= len(lots) <= MOST_LOTS:
        raise InputError(
            "lot",
            say(
                "needs {fewest} to {most} parts",
                fewest=FEWEST_LOTS,
                most=MOST_LOTS,
            ),
            len(lots),
        )
    if not targets:
        raise InputError("target", say("needs at least one target"), say("none"))
    if len({lot.name for lot in lots}) < len(lots):
        raise InputError("lot", say("needs a name of its own for each part"), lots[0].name)
    for lot in lots:
        within(
            lot.available_l,
            1e-3,
            1e6,
            f"lot {lot.name}.volume",
            say("a volume in L"),
        )
        within(
            lot.least_l,
            0,
            lot.available_l,
            f"lot {lot.name}.least",
            say("litres there are,"),
        )
        try:
            mead(lot.available_l, lot.gravity, lot.alcohol_pct)
        except InputError as error:
            where = f"lot {lot.name}.{error.field}"
            raise type(error)(where, error.requirement, error.got) from None
        for quantity in ("acidity", "so2", "sugar", "colour"):
            value = lot.per_litre(quantity)
            if value is not None:
                within(
                    value,
                    0,
                    1000,
                    f"lot {lot.name}.{quantity}",
                    say("a value"),
                )
        if lot.price_per_l is not None:
            within(lot.price_per_l, 0, 1e6, f"lot {lot.name}.price", say("a price"))
    seen = set()
    for target in targets:
        if target.quantity not in QUANTITIES:
            known = say("needs one of {known}", known=", ".join(QUANTITIES))
            raise InputError("target", known, target.quantity)
        if target.quantity in seen:
            raise InputError("target", say("needs each quantity once"), target.quantity)
        seen.add(target.quantity)
        if not (math.isfinite(target.low) and target.low <= target.high < math.inf):
            raise InputError(
                "target",
                say("needs its low end first"),
                say("{low} to {high}", low=target.low, high=target.high),
            )
        for lot in lots:
            if lot.per_litre(target.quantity) is None:
                needs = say(
                    "needs its {quantity}, as that is a target", quantity=WORDS[target.quantity]
                )
                raise InputError(f"lot {lot.name}", needs, None)


def _with_law(
    lots: Sequence[Lot], targets: Sequence[BlendTarget], law: FinishingLaw
) -> tuple[tuple[BlendTarget, ...], float | None]:
    """The targets with total sulfur dioxide under the profile's limit, and that limit [mg/L]."""
    limit = law.highest("total_so2")
    if limit is None or limit.high is None or any(lot.so2_mg_l is None for lot in lots):
        return tuple(targets), None
    most = limit.high * 1000
    bound = []
    for target in targets:
        if target.quantity == "so2":
            if target.low > most:
                over = say(
                    "needs at most {most:.0f} mg/L of total ({law})",
                    most=most,
                    law=law.name,
                )
                raise ImpossibleError("target.so2", over, target.low)
            target = replace(target, high=min(target.high, most))
        bound.append(target)
    if all(t.quantity != "so2" for t in bound):
        bound.append(BlendTarget("so2", 0.0, most))
    return tuple(bound), most


def _amount(lots: Sequence[Lot], volume_l: float) -> float:
    """Litres poured together, before contraction."""
    most, least = sum(lot.available_l for lot in lots), sum(lot.least_l for lot in lots)
    within(volume_l, 1e-3, 1e6, "volume", say("a volume in L"))
    # Dilute lots may take up a hair more room together than apart.
    if not least * 0.999 <= volume_l <= most * 1.001:
        raise ImpossibleError(
            "volume",
            say(
                "needs {least} to {most}, what must and what can go in",
                least=short_volume(least),
                most=short_volume(most),
            ),
            short_volume(volume_l),
        )
    return min(max(volume_l, least), most)


def _result(
    lots: Sequence[Lot],
    targets: Sequence[BlendTarget],
    bound: Sequence[BlendTarget],
    litres: Floats,
    feasible: bool,
    cheapest: bool,
    law: FinishingLaw,
) -> BlendResult:
    liquid, amount = mixed(liquids(lots, litres)), float(litres.sum())
    refuse_solids(law, liquid, "lot")
    given = {lot.name: float(x) for lot, x in zip(lots, litres, strict=True)}
    volume = Figure(liquid.volume_l, "L", say("mass / density of the mixture"), BALANCE, given)
    parts = tuple(
        BlendPart(
            lot.name,
            Figure(
                float(x),
                "L",
                say("solved"),
                ARITHMETIC,
                {"available_l": typed(lot.available_l, "L")},
            ),
            Figure(100 * float(x) / amount, "%", say("litres / all litres"), ARITHMETIC),
        )
        for lot, x in zip(lots, litres, strict=True)
    )
    figures = {q: _figure(lots, litres, q, volume) for q in QUANTITIES}
    reached = tuple(_reached(lots, litres, t, amount) for t in bound)
    feasible = feasible and all(r.met for r in reached)
    priced = all(lot.price_per_l is not None for lot in lots)
    if cheapest and not priced:
        raise InputError("lot", say("needs a price for every part to be cheapest"), say("none"))
    cost = None
    if priced:
        total = sum(
            (lot.price_per_l or 0.0) * float(x) for lot, x in zip(lots, litres, strict=True)
        )
        cost = Figure(total, "", say("sum of litres x price, in your currency"), ARITHMETIC)
    alcohol, gravity = figures["alcohol"], figures["gravity"]
    assert alcohol is not None
    assert gravity is not None
    after = {"volume_l": volume, "alcohol_pct": alcohol, "gravity": gravity}
    if figures["so2"] is not None:
        after["total_so2_mg_l"] = figures["so2"]
    additions = tuple(
        Addition(
            lot.name,
            lot.name,
            Figure(one.mass_g, "g", say("litres x density"), ARITHMETIC),
            {},
            measured_volume(float(x)),
        )
        for lot, x, one in zip(lots, litres, liquids(lots, litres), strict=True)
        if x > 1e-9
    )
    return BlendResult(
        feasible,
        say("least cost") if cheapest else say("least deviation"),
        parts,
        reached,
        volume,
        Figure(
            amount - volume.value,
            "L",
            say("litres poured - litres that come of it"),
            BALANCE,
            {"poured_l": amount, "volume_l": volume},
        ),
        alcohol,
        gravity,
        figures["acidity"],
        figures["so2"],
        figures["sugar"],
        figures["colour"],
        cost,
        _words(feasible, reached, targets),
        Recorded(additions, after, _steps(), _notes(law, figures), cautions("bench_first")),
    )


def _figure(lots: Sequence[Lot], litres: Floats, quantity: str, volume: Figure) -> Figure | None:
    if any(lot.per_litre(quantity) is None for lot in lots):
        return None
    formula = {
        "alcohol": say("ethanol of all parts / volume"),
        "gravity": say("density of the mixture"),
        "colour": say("mean by litres: a rough guide, colour does not mix so simply"),
    }.get(quantity, say("grams of all parts / volume"))
    source = BALANCE if quantity in ("alcohol", "gravity") else ARITHMETIC
    given: dict[str, Figure | float | str] = {
        lot.name: lot.per_litre(quantity) or 0.0 for lot in lots
    }
    given["volume_l"] = volume
    return Figure(true_value(lots, litres, quantity), UNITS[quantity], formula, source, given)


def _reached(lots: Sequence[Lot], litres: Floats, target: BlendTarget, amount: float) -> Reached:
    here = true_value(lots, litres, target.quantity)
    off = max(here - target.high, 0.0) - max(target.low - here, 0.0)
    unit, scale = UNITS[target.quantity], SCALE[target.quantity]
    offset = straight(lots, litres, target.quantity) - here
    low, high = possible(lots, target.quantity, amount, offset)
    return Reached(
        target.quantity,
        target.low,
        target.high,
        Figure(here, unit, say("mass balance of the mixture"), BALANCE),
        Figure(off, unit, say("reached - nearest end of what is wanted"), ARITHMETIC),
        abs(off) <= 0.02 * scale,
        low,
        high,
    )


def _words(feasible: bool, reached: Sequence[Reached], targets: Sequence[BlendTarget]) -> str:
    if feasible:
        return say("All targets are met.")
    missed = [r for r in reached if not r.met]
    if not missed:
        return say("All targets are met to within a hydrometer's reading.")
    parts = []
    for one in missed:
        unit = UNITS[one.quantity]
        wanted = (
            say("{low:g}", low=one.wanted_low)
            if one.wanted_low == one.wanted_high
            else say("{low:g} to {high:g}", low=one.wanted_low, high=one.wanted_high)
        )
        digits = 4 if one.quantity == "gravity" else 2
        parts.append(
            say(
                "{quantity} comes to {reached:.{digits}f} {unit} of the {wanted} wanted (these "
                "parts allow {low:.{digits}f} to {high:.{digits}f})",
                quantity=WORDS[one.quantity],
                reached=one.reached.value,
                digits=digits,
                unit=unit,
                wanted=wanted,
                low=one.possible_low,
                high=one.possible_high,
            )
        )
    nearest = join("; ", parts)
    if len(targets) > 1:
        return say("Cannot be met together; this is the nearest blend: {nearest}.", nearest=nearest)
    return say(
        "Cannot be met with these parts; this is the nearest blend: {nearest}.", nearest=nearest
    )


def _steps() -> tuple[str, ...]:
    return (
        say("Blend 100 mL in a glass in these proportions first, and taste it the next day."),
        say("Pour gently into one vessel, heaviest first; stir without splashing."),
        say("Measure free sulfur dioxide after a day: each part binds some of the other's."),
        say(
            "If one part still ferments or had malolactic bacteria, the whole blend may ferment "
            "or turn."
        ),
    )


def _notes(law: FinishingLaw, figures: Mapping[str, Figure | None]) -> tuple[str, ...]:
    notes = [say("pH does not mix in proportion: measure it.")]
    if figures["so2"] is None and law.highest("total_so2") is not None:
        notes.append(
            say("Total sulfur dioxide of the parts was not typed: the limit was not checked.")
        )
    return tuple(notes)
