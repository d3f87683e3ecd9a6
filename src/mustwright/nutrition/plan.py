"""The feeding plan of one protocol on one must, with what it brings, costs, touches and breaks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from mustwright.figure import ARITHMETIC, Figure, total
from mustwright.kinetics.pace import Pace, usual_pace
from mustwright.nutrition.balance import (
    balance_sheet,
    from_nutrient,
    wants,
)
from mustwright.nutrition.cost import cost_of
from mustwright.nutrition.feeding_plan import (
    Bound,
    Feed,
    FeedingPlan,
    FeedItem,
    NitrogenSheet,
    Setting,
)
from mustwright.nutrition.feeds import FeedSlot, ask_feeds, place_feeds
from mustwright.nutrition.programme import (
    Ceiling,
    DosingProblem,
    DosingSolution,
    FeedAsk,
    Floats,
    binding,
    ceilings_of,
    shortfall,
    solve,
)
from mustwright.nutrition.protocols import DEMAND_BASIS, Protocol
from mustwright.nutrition.remarks import remarks, scale_remark
from mustwright.nutrition.rounding import round_to_scale
from mustwright.nutrition.shelf import Nutrient, Shelf, generic_nutrients
from mustwright.nutrition.triggers import THIRD

TOUCHED = 0.995
MOST_ADVICE = 3


def plan_feeding(setting: Setting, protocol: Protocol) -> FeedingPlan:
    """The plan of one protocol on one must."""
    return _Planner(setting, protocol).plan()


class _Planner:
    """The steps from protocol to plan, in order."""

    def __init__(self, setting: Setting, protocol: Protocol) -> None:
        self.setting, self.protocol = setting, protocol
        self.jars = setting.jars
        self.volume = setting.must.volume_l
        self.rehydration = from_nutrient(
            setting.shelf.for_rehydration, setting.pitch.rehydration_nutrient_g, self.volume
        )
        self.demand = setting.demand()
        self.aim = setting.demand(protocol.rule) if protocol.basis == DEMAND_BASIS else self.demand
        self.counted = setting.credit.counted(protocol.credit)
        self.to_add = self._to_add()
        self.pace = self._pace()
        self.slots = place_feeds(protocol, self.pace)
        self.asks, self.missing = ask_feeds(
            protocol,
            self.slots,
            self.jars,
            self.to_add.value,
            setting.must.sugar_g_l.value,
            setting.must.potential_alcohol_pct.value,
        )
        self.problem = DosingProblem(
            self.jars,
            self.asks,
            self._ceilings(),
            protocol.ammonium_share_max,
            wants(setting.credit, self.rehydration),
        )

    def plan(self) -> FeedingPlan:
        """Solve, round, and write the plan out."""
        solution = solve(self.problem)
        grams = round_to_scale(
            solution.grams_l * self.volume.value,
            self.setting.shelf.scale_g,
            self.problem.ceilings,
            self.volume.value,
        )
        feeds = tuple(self._feed(i, grams[i]) for i in range(len(self.slots)))
        nitrogen = self._nitrogen(feeds)
        breaches, free = self._why_not(solution)
        used = self.setting.pitch.rehydration_nutrient_g.value
        cost, note = cost_of(self.jars, grams, (self.setting.shelf.for_rehydration, used))
        items = [(item, feed) for feed in feeds for item in feed.items]
        brought = [
            from_nutrient(self._jar(item.nutrient), item.grams, self.volume) for item, _ in items
        ]
        labels = [
            f"{item.name}, {feed.name.lower()} ({k + 1})" for k, (item, feed) in enumerate(items)
        ]
        balance = balance_sheet(self.demand, self.setting.credit, self.rehydration, brought, labels)
        return FeedingPlan(
            protocol=self.protocol.id,
            protocol_name=self.protocol.name,
            account=self.protocol.account,
            assumes=self.protocol.assumes,
            source=self.protocol.source,
            feasible=solution.feasible and not self.missing,
            nitrogen=nitrogen,
            feeds=feeds,
            products=tuple(dict.fromkeys(item.nutrient for item, _ in items)),
            cost=cost,
            cost_note=note,
            breaches=breaches,
            touched=self._touched(grams),
            missing=tuple(self.missing),
            would_free=free,
            balance=balance,
            cut_share=_share_short(self.asks, solution),
            warnings=(
                *scale_remark(self.setting, solution, grams),
                *remarks(self.setting, feeds, nitrogen, balance),
            ),
            nothing_after_sugar_used=self.protocol.conditions.nothing_after_sugar_used,
        )

    # What is asked -----------------------------------------------------------------------------

    def _to_add(self) -> Figure:
        rehydration = total({k: self.rehydration[k] for k in ("ammonium_n", "amino_n")}, "mg N/L")
        value = self.protocol.fraction * (self.aim.value - self.counted.value) - rehydration.value
        return Figure(
            max(value, 0.0),
            "mg N/L",
            "fraction x (aim - credit counted) - rehydration nutrient",
            ARITHMETIC,
            {
                "aim": self.aim,
                "credit": self.counted,
                "rehydration": rehydration,
                "fraction": self.protocol.fraction,
            },
        )

    def _pace(self) -> Pace:
        early = self.setting.credit.nitrogen_mg_l.value + 0.6 * self.to_add.value
        must = self.setting.must
        return usual_pace(
            must.brix.value, self.setting.temperature_c, early, must.fermentable_share
        )

    def _ceilings(self) -> tuple[Ceiling, ...]:
        used = self.setting.shelf.for_rehydration
        used_g_l = self.setting.pitch.rehydration_nutrient_g.value / self.volume.value
        limits = []
        for limit in self.setting.profile.limits:
            weights = [limit.fraction_in(jar) for jar in self.jars]
            if not any(weights):
                continue
            already = limit.fraction_in(used) * used_g_l if used else 0.0
            limits.append(
                (
                    limit.substance,
                    f"{self.setting.profile.name} allows {limit.max_g_l:g} g/L of {limit.name} "
                    f"({limit.source})",
                    weights,
                    limit.max_g_l - already,
                    limit.source,
                )
            )
        return ceilings_of(self.jars, self.volume.value, limits)

    # What is given -----------------------------------------------------------------------------

    def _jar(self, identity: str) -> Nutrient:
        return next(jar for jar in self.jars if jar.id == identity)

    def _feed(self, i: int, grams: Floats) -> Feed:
        slot = self.slots[i]
        items = tuple(
            self._item(jar, float(grams[j]), slot, self.asks[i])
            for j, jar in enumerate(self.jars)
            if grams[j] > 0
        )
        kinds = {}
        for kind in ("ammonium", "amino"):
            kinds[kind] = total(
                {
                    item.name: from_nutrient(self._jar(item.nutrient), item.grams, self.volume)[
                        f"{kind}_n"
                    ]
                    for item in items
                },
                "mg N/L",
            )
        return Feed(
            name=slot.rule.name,
            trigger=slot.rule.trigger.words(
                self.setting.must.brix.value, self.setting.must.fermentable_share
            ),
            trigger_rule=slot.rule.trigger.as_data(),
            expected_h=slot.expected,
            sugar_used=round(slot.sugar_used, 3),
            items=items,
            nitrogen_mg_l=total(kinds, "mg N/L"),
            ammonium_mg_l=kinds["ammonium"],
            amino_mg_l=kinds["amino"],
            notes=(*slot.notes, *self._skip_notes(items)),
        )

    def _item(self, jar: Nutrient, grams: float, slot: FeedSlot, ask: FeedAsk) -> FeedItem:
        if ask.fixed_g_l is not None:
            how = "stated rate x volume, within every limit, to the scale's step"
            source = f"the protocol: {self.protocol.source}"
        else:
            how = "blend programme: share of the nitrogen to add, within every limit, at least cost"
            source = "linear programme over the shelf"
        figure = Figure(
            grams,
            "g",
            how,
            source,
            {
                "nitrogen_to_add_mg_l": self.to_add,
                "share_of_plan": slot.share,
                "volume_l": self.volume,
                "scale_step_g": self.setting.shelf.scale_g,
            },
        )
        brought = from_nutrient(jar, figure, self.volume)
        spoon = jar.grams_per_teaspoon
        teaspoons = (
            None
            if spoon is None
            else Figure(
                grams / spoon,
                "tsp",
                "grams / grams per teaspoon of the label",
                ARITHMETIC,
                {"grams": figure, "grams_per_teaspoon": spoon},
            )
        )
        nitrogen = total({k: brought[f"{k}_n"] for k in ("ammonium", "amino")}, "mg N/L")
        return FeedItem(jar.id, jar.name, figure, nitrogen, teaspoons, jar.caution)

    def _skip_notes(self, items: Sequence[FeedItem]) -> list[str]:
        notes = []
        conditions = self.protocol.conditions
        has_ammonium = any(self._jar(i.nutrient).per_gram("ammonium_n") > 0 for i in items)
        if has_ammonium and conditions.ammonium_until_sugar_used is not None:
            share = conditions.ammonium_until_sugar_used
            notes.append(
                f"Leave the ammonium out if more than {100 * share:.0f} % of the sugar is gone."
            )
        if has_ammonium and conditions.ammonium_until_alcohol_pct is not None:
            notes.append(
                f"Leave the ammonium out above {conditions.ammonium_until_alcohol_pct:g} % vol."
            )
        return notes

    def _nitrogen(self, feeds: Sequence[Feed]) -> NitrogenSheet:
        credit = self.setting.credit
        ammonium = total(
            {f"{f.name} ({k + 1})": f.ammonium_mg_l for k, f in enumerate(feeds)}, "mg N/L"
        )
        amino = total({f"{f.name} ({k + 1})": f.amino_mg_l for k, f in enumerate(feeds)}, "mg N/L")
        added = total({"ammonium": ammonium, "amino": amino}, "mg N/L")
        rehydration = total({k: self.rehydration[k] for k in ("ammonium_n", "amino_n")}, "mg N/L")
        whole = total(
            {"must": credit.nitrogen_mg_l, "rehydration": rehydration, "added": added}, "mg N/L"
        )
        short = Figure(
            max(self.demand.value - whole.value, 0.0),
            "mg N/L",
            "demand - total, not below zero",
            ARITHMETIC,
            {"demand": self.demand, "total": whole},
        )
        early = sum(f.nitrogen_mg_l.value for f in feeds if f.sugar_used < THIRD - 0.005)
        share = Figure(
            early / added.value if added.value > 0 else 0.0,
            "",
            "nitrogen fed before a third of the sugar is gone / nitrogen fed",
            ARITHMETIC,
            {"early_mg_l": early, "added_mg_l": added},
        )
        return NitrogenSheet(
            self.demand,
            self.aim,
            credit.nitrogen_mg_l,
            credit.ammonium_mg_l,
            credit.amino_mg_l,
            self.counted,
            rehydration,
            added,
            ammonium,
            amino,
            whole,
            short,
            share,
        )

    # What stands in the way --------------------------------------------------------------------

    def _why_not(self, solution: DosingSolution) -> tuple[tuple[Bound, ...], tuple[str, ...]]:
        if solution.feasible:
            return (), ()
        free = []
        breaches = []
        for ceiling, left in binding(self.problem, solution):
            lifted = tuple(c for c in self.problem.ceilings if c is not ceiling)
            asked = self._amount(ceiling, solve(self._with(lifted)).grams_l)
            if asked <= ceiling.most * (1 + 1e-6):  # the worst-served feed has no use for it
                continue
            breaches.append(self._bound(ceiling, asked))
            met = "all" if left < 0.5 else f"all but {left:.0f} mg N/L"
            free.append(f"Were it not that {ceiling.words}, {met} of it could be given.")
        if not breaches:  # several ceilings hold it together
            as_written = solve(self._with(())).grams_l
            for ceiling in self.problem.ceilings:
                asked = self._amount(ceiling, as_written)
                if asked > ceiling.most * (1 + 1e-6):
                    breaches.append(self._bound(ceiling, asked))
        return tuple(breaches), (*free, *self._what_to_buy())

    def _with(self, ceilings: tuple[Ceiling, ...]) -> DosingProblem:
        p = self.problem
        # Minerals could take any amount once a ceiling is gone: asked is what the nitrogen needs.
        return DosingProblem(p.jars, p.feeds, ceilings, p.ammonium_share_max, {})

    def _what_to_buy(self) -> list[str]:
        """The generic nutrients not on the shelf that would help most, at most three.

        What the protocol lacks is against what it asks for, which may be more or less than the
        demand: it counts the must's own nitrogen in its own way.
        """
        if self.protocol.basis != DEMAND_BASIS:
            return []
        short = shortfall(self.problem)
        advice: list[tuple[float, str]] = []
        for generic in generic_nutrients().values():
            on_shelf = any(jar.class_id == generic.class_id for jar in self.jars)
            if on_shelf or generic.use == "rehydration" or generic.nitrogen_mg_g < 20:
                continue
            shelf = self.setting.shelf
            other = replace(self.setting, shelf=Shelf((*shelf.nutrients, generic), shelf.scale_g))
            left = shortfall(_Planner(other, self.protocol).problem)
            if left < short - 1:
                lacks = f"the {short:.0f} mg N/L this protocol lacks"
                met = f"make up {lacks}" if left < 0.5 else f"bring {lacks} down to {left:.0f}"
                advice.append((left, f"{generic.name} on the shelf would {met}."))
        return [words for _, words in sorted(advice)[:MOST_ADVICE]]

    def _amount(self, ceiling: Ceiling, grams_l: Floats) -> float:
        return float(grams_l.sum(axis=0) @ np.array(ceiling.weights))

    def _bound(self, ceiling: Ceiling, asked: float) -> Bound:
        return Bound(
            ceiling.key,
            Figure(
                asked,
                "g/L",
                "sum of grams x share of the limited substance / volume",
                ARITHMETIC,
                {"volume_l": self.volume},
            ),
            Figure(ceiling.most, "g/L", ceiling.words, ceiling.source),
            ceiling.words,
        )

    def _touched(self, grams: Floats) -> tuple[Bound, ...]:
        if not grams.size:
            return ()
        found = []
        for ceiling in self.problem.ceilings:
            amount = self._amount(ceiling, grams / self.volume.value)
            if amount > 0 and amount >= ceiling.most * TOUCHED:
                found.append(self._bound(ceiling, amount))
        return tuple(found)


def _share_short(asks: Sequence[FeedAsk], solution: DosingSolution) -> float:
    """Part of the nitrogen the protocol asks for that limits keep back (0 to 1)."""
    asked = sum(ask.nitrogen_mg_l for ask in asks)
    return float(solution.short_mg_l.sum()) / asked if asked > 0 else 0.0
