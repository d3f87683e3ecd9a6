"""Which feeds a protocol asks of this must: moments, shares, and jars it may use."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from mustwright.figure import Figure
from mustwright.kinetics.pace import Pace
from mustwright.nutrition.dosing_problem import FeedAsk
from mustwright.nutrition.protocols import (
    LABEL_BASIS,
    RATE_BASIS,
    FeedRule,
    Protocol,
    ProtocolRules,
)
from mustwright.nutrition.shelf import Nutrient, generic_nutrients
from mustwright.nutrition.shelf_word import OF_SHELF
from mustwright.nutrition.triggers import THIRD
from mustwright.texts import join, say, unchanged

_KINDS = {
    "ammonium": say("an ammonium salt"),
    "organic": say("an organic nutrient"),
    "complex": say("a complex blend"),
    "mineral": say("a mineral nutrient"),
    "amino_aroma": say("an amino-rich aroma nutrient"),
    "any": say("a nutrient"),
}


@dataclass(frozen=True)
class FeedSlot:
    """A feed of the protocol, placed in this ferment.

    Parameters
    ----------
    rule : FeedRule
    expected : Figure
        Hours after pitch [h].
    sugar_used : float
        Fraction of the sugar expected to be gone by then.
    share : float
        Of the plan's nitrogen, after folding.
    notes : tuple of str
        What the conditions changed here.
    """

    rule: FeedRule
    expected: Figure
    sugar_used: float
    share: float
    notes: tuple[str, ...] = ()


def place_feeds(protocol: Protocol, pace: Pace) -> tuple[FeedSlot, ...]:
    """Feeds in the order they fall due; those past the protocol's end fold into the one before."""
    slots = [
        FeedSlot(rule, rule.trigger.expected(pace), rule.trigger.sugar_used(pace), rule.share)
        for rule in protocol.feeds
    ]
    slots.sort(key=lambda slot: slot.expected.value)
    end = protocol.conditions.nothing_after_sugar_used
    if end is None:
        return tuple(slots)
    kept: list[FeedSlot] = []
    for slot in slots:
        if kept and slot.sugar_used > end:
            before = kept[-1]
            note = say(
                "'{feed}' would come after {percent:.0f} % of the sugar, so it is given here",
                feed=slot.rule.name,
                percent=100 * end,
            )
            rule = replace(
                before.rule,
                rates=(*before.rule.rates, *slot.rule.rates),
                nutrients=(*before.rule.nutrients, *(rate.nutrient for rate in slot.rule.rates)),
            )
            share = before.share + slot.share
            kept[-1] = replace(before, rule=rule, share=share, notes=(*before.notes, note))
        else:
            kept.append(slot)
    return tuple(kept)


def ask_feeds(
    protocol: Protocol,
    slots: Sequence[FeedSlot],
    jars: Sequence[Nutrient],
    to_add_mg_l: float,
    sugar_g_l: float,
    potential_alcohol_pct: float,
) -> tuple[tuple[FeedAsk, ...], list[str]]:
    """What the blend programme is to bring in each feed, and which jars are missing.

    Parameters
    ----------
    protocol : Protocol
    slots : sequence of FeedSlot
        Its feeds, in the order they fall due.
    jars : sequence of Nutrient
        On the shelf, for the ferment.
    to_add_mg_l : float
        Nitrogen to add over all feeds, at least 0 [mg N/L]; used by a ``demand`` protocol.
    sugar_g_l : float
        Of the must, at least 0 [g/L]; stated rates scale with it.
    potential_alcohol_pct : float
        At least 0 [% vol]; ammonium may be ruled out by alcohol.

    Returns
    -------
    asks : tuple of FeedAsk
    missing : list of str
        One sentence for each feed the shelf has nothing for.
    """
    asks, missing = [], []
    for i, slot in enumerate(slots):
        last = i == len(slots) - 1
        allowed, barred, why = _allowed(
            slot, jars, protocol.conditions, last, potential_alcohol_pct
        )
        if protocol.basis == RATE_BASIS:
            ask, lacking = _at_rates(protocol, slot, jars, allowed, why, sugar_g_l)
        elif protocol.basis == LABEL_BASIS:
            ask, lacking = _at_label(slot, jars, allowed, why)
        else:
            ask = FeedAsk(
                to_add_mg_l * slot.share,
                allowed,
                slot.rule.ammonium_share_max,
                stand_ins=_stand_ins(slot, jars, allowed, barred, last and len(slots) > 1),
            )
            lacking = []
        asks.append(ask)
        missing.extend(lacking)
    return tuple(asks), missing


def _allowed(
    slot: FeedSlot,
    jars: Sequence[Nutrient],
    conditions: ProtocolRules,
    last: bool,
    potential_alcohol_pct: float,
) -> tuple[tuple[int, ...], frozenset[int], str]:
    """Jars the protocol names for a feed, those its conditions bar, and in words why."""
    alcohol = slot.sugar_used * potential_alcohol_pct
    no_ammonium = (
        conditions.ammonium_until_sugar_used is not None
        and slot.sugar_used > conditions.ammonium_until_sugar_used + 1e-6
    ) or (
        conditions.ammonium_until_alcohol_pct is not None
        and alcohol > conditions.ammonium_until_alcohol_pct
    )
    no_salt = last and conditions.last_feed_without_ammonium_salt
    barred = frozenset(
        j
        for j, jar in enumerate(jars)
        if (no_ammonium and jar.per_gram("ammonium_n") > 0) or (no_salt and jar.group == "ammonium")
    )
    found = tuple(
        j
        for j, jar in enumerate(jars)
        if j not in barred and any(jar.matches(wanted) for wanted in slot.rule.nutrients)
    )
    why = say(" and holds no ammonium") if no_ammonium else ""
    return found, barred, why or (say(" and no ammonium salt") if no_salt else "")


def _stand_ins(
    slot: FeedSlot,
    jars: Sequence[Nutrient],
    allowed: Sequence[int],
    barred: frozenset[int],
    last: bool,
) -> tuple[int, ...]:
    """Jars that may bring what the named ones cannot: any with nitrogen, but no ammonium late."""
    late = slot.sugar_used > THIRD + 1e-3
    return tuple(
        j
        for j, jar in enumerate(jars)
        if j not in allowed
        and j not in barred
        and jar.nitrogen_mg_g > 0
        and not (late and jar.per_gram("ammonium_n") > 0)
        and not (last and jar.group == "ammonium")
    )


def _at_rates(
    protocol: Protocol,
    slot: FeedSlot,
    jars: Sequence[Nutrient],
    allowed: Sequence[int],
    why: str,
    sugar_g_l: float,
) -> tuple[FeedAsk, list[str]]:
    factor = sugar_g_l / protocol.sugar_reference_g_l if protocol.sugar_reference_g_l else 1.0
    fixed: dict[int, float] = {}
    lacking: list[str] = []
    for rate in slot.rule.rates:
        j = _first(jars, allowed, (rate.nutrient,))
        if j is None:
            lacking.append(
                say(
                    "'{feed}' needs {nutrient}{besides}; the shelf has none",
                    feed=slot.rule.name,
                    nutrient=_kind_words(rate.nutrient),
                    besides=why,
                )
            )
            continue
        fixed[j] = fixed.get(j, 0.0) + rate.typical_g_l * factor
    return _fixed_ask(fixed, jars, slot), lacking


def _kind_words(kind: str) -> str:
    """A kind of nutrient that a protocol asks for, as a maker says it."""
    if OF_SHELF.match(kind):
        return say("your jar '{jar}'", jar=kind.partition(":")[2])
    plain = kind.replace("_", " ")
    named = generic_nutrients().get(kind)
    return _KINDS.get(kind) or (unchanged(plain, named.name) if named else plain)


def _at_label(
    slot: FeedSlot, jars: Sequence[Nutrient], allowed: Sequence[int], why: str
) -> tuple[FeedAsk, list[str]]:
    with_label = [j for j in allowed if jars[j].label_max_g_l is not None]
    chosen = _first(jars, with_label, slot.rule.nutrients)
    label = None if chosen is None else jars[chosen].label_max_g_l
    if chosen is None or label is None:
        wanted = join(say(" or "), map(_kind_words, slot.rule.nutrients))
        return FeedAsk(0.0, ()), [
            say(
                "'{feed}' needs {nutrient}{besides} with a rate on its label; the shelf has none",
                feed=slot.rule.name,
                nutrient=wanted,
                besides=why,
            )
        ]
    return _fixed_ask({chosen: label.value * slot.share}, jars, slot), []


def _fixed_ask(fixed: dict[int, float], jars: Sequence[Nutrient], slot: FeedSlot) -> FeedAsk:
    nitrogen = sum(g * jars[j].nitrogen_mg_g * jars[j].uptake_weight for j, g in fixed.items())
    return FeedAsk(nitrogen, tuple(fixed), slot.rule.ammonium_share_max, fixed_g_l=fixed)


def _first(jars: Sequence[Nutrient], allowed: Sequence[int], wanted: Sequence[str]) -> int | None:
    """The first allowed jar that matches the earliest of the wanted words."""
    for word in wanted:
        for j in allowed:
            if jars[j].matches(word):
                return j
    return None
