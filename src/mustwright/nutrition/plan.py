"""The feeding plan of one protocol on one must, with what it brings, costs, touches and breaks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from mustwright.figure import ARITHMETIC, TYPED, Figure, total
from mustwright.kinetics.pace import Pace, usual_pace
from mustwright.nutrition.as_written import written
from mustwright.nutrition.balance import balance_sheet, from_nutrient, wants
from mustwright.nutrition.bounds import BROKEN, amount_g_l, bounds_touched
from mustwright.nutrition.ceilings import ceilings
from mustwright.nutrition.cost import cost_of
from mustwright.nutrition.dosing_problem import DosingProblem, DosingSolution, Floats
from mustwright.nutrition.feed_items import FeedTable
from mustwright.nutrition.feeding_plan import Feed, FeedingPlan, NitrogenSheet, Setting
from mustwright.nutrition.feeds import ask_feeds, place_feeds
from mustwright.nutrition.gave_way import gave_way
from mustwright.nutrition.programme import as_written, solve
from mustwright.nutrition.protocols import DEMAND_BASIS, Protocol
from mustwright.nutrition.remarks import remarks, scale_remark
from mustwright.nutrition.rounding import round_to_scale
from mustwright.nutrition.shelf import Nutrient
from mustwright.nutrition.triggers import THIRD
from mustwright.nutrition.why_short import what_to_buy, why_short
from mustwright.texts import join, say


def plan_feeding(setting: Setting, protocol: Protocol) -> FeedingPlan:
    """The plan of one protocol on one must.

    Parameters
    ----------
    setting : Setting
    protocol : Protocol

    Returns
    -------
    FeedingPlan
    """
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
        self.slots = place_feeds(protocol, self._pace())
        asks, self.missing = ask_feeds(
            protocol,
            self.slots,
            self.jars,
            self.to_add.value,
            setting.must.sugar_g_l.value,
            setting.must.potential_alcohol_pct.value,
        )
        problem = DosingProblem(
            self.jars,
            asks,
            ceilings(setting),
            protocol.ammonium_share_max,
            wants(setting.credit, self.rehydration),
        )
        self.problem = (
            replace(as_written(problem), ceilings=problem.ceilings)
            if setting.follow_author
            else problem
        )
        self.table = FeedTable(setting, protocol, self.slots, self.problem.feeds, self.to_add)

    def plan(self) -> FeedingPlan:
        """Solve, round, and write the plan out."""
        solution = solve(self.problem)
        grams = self._rounded(solution)
        feeds = self.table.feeds(grams)
        nitrogen = self._nitrogen(feeds)
        author = written(self.table, self.setting)
        used = self.setting.pitch.rehydration_nutrient_g.value
        cost, note = cost_of(self.jars, grams, (self.setting.shelf.for_rehydration, used))
        items = [(item, feed) for feed in feeds for item in feed.items]
        brought = [
            from_nutrient(self._jar(item.nutrient), item.grams, self.volume) for item, _ in items
        ]
        labels = [
            join("", (item.name, ", ", feed.name.lower(), f" ({k + 1})"))
            for k, (item, feed) in enumerate(items)
        ]
        balance = balance_sheet(self.demand, self.setting.credit, self.rehydration, brought, labels)
        hard = {c.key for c in self.problem.ceilings if not c.advises}
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
            breaches=tuple(b for b in author.breaches if b.limit in hard),
            touched=bounds_touched(self.problem.ceilings, grams / self.volume.value, self.volume),
            missing=tuple(self.missing),
            would_free=self._would_free(solution),
            balance=balance,
            cut_share=_share_short(self.problem, solution),
            as_written=author,
            gave_way=gave_way(self.table, self.problem, solution),
            warnings=(
                *scale_remark(self.setting, solution, grams),
                *remarks(self.setting, feeds, nitrogen, balance),
            ),
            nothing_after_sugar_used=self.protocol.conditions.nothing_after_sugar_used,
        )

    def _rounded(self, solution: DosingSolution) -> Floats:
        """Grams as the scale shows them, within what binds and the advice that was kept [g]."""
        litres = self.volume.value
        kept = [
            c
            for c in self.problem.ceilings
            if not c.advises or amount_g_l(c, solution.grams_l) <= c.most * BROKEN
        ]
        step = self.setting.shelf.scale_g
        return round_to_scale(solution.grams_l * litres, step, kept, litres)

    def _would_free(self, solution: DosingSolution) -> tuple[str, ...]:
        if solution.feasible:
            return ()
        found = why_short(self.problem, solution)
        if self.protocol.basis != DEMAND_BASIS:
            return found
        return (*found, *what_to_buy(self.setting, self._short_with))

    def _short_with(self, setting: Setting) -> float:
        """Nitrogen that stays short on another shelf [mg N/L]."""
        return solve(_Planner(setting, self.protocol).problem).short_mg_l

    # What is asked -----------------------------------------------------------------------------

    def _to_add(self) -> Figure:
        rehydration = total({k: self.rehydration[k] for k in ("ammonium_n", "amino_n")}, "mg N/L")
        value = self.protocol.fraction * (self.aim.value - self.counted.value) - rehydration.value
        return Figure(
            max(value, 0.0),
            "mg N/L",
            say("fraction x (aim - credit counted) - rehydration nutrient"),
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

    def _jar(self, identity: str) -> Nutrient:
        return self.table.jar(identity)

    def _nitrogen(self, feeds: Sequence[Feed]) -> NitrogenSheet:
        credit = self.setting.credit
        ammonium = total(
            {join("", (f.name, f" ({k + 1})")): f.ammonium_mg_l for k, f in enumerate(feeds)},
            "mg N/L",
        )
        amino = total(
            {join("", (f.name, f" ({k + 1})")): f.amino_mg_l for k, f in enumerate(feeds)},
            "mg N/L",
        )
        added = total({"ammonium": ammonium, "amino": amino}, "mg N/L")
        extra = self._uptake_extra(feeds)
        rehydration = total({k: self.rehydration[k] for k in ("ammonium_n", "amino_n")}, "mg N/L")
        parts = {"must": credit.nitrogen_mg_l, "rehydration": rehydration, "added": added}
        whole = total(parts if extra.value == 0 else {**parts, "uptake weights": extra}, "mg N/L")
        short = Figure(
            max(self.demand.value - whole.value, 0.0),
            "mg N/L",
            say("demand - total, not below zero"),
            ARITHMETIC,
            {"demand": self.demand, "total": whole},
        )
        early = sum(f.nitrogen_mg_l.value for f in feeds if f.sugar_used < THIRD - 0.005)
        share = Figure(
            early / added.value if added.value > 0 else 0.0,
            "",
            say("nitrogen fed before a third of the sugar is gone / nitrogen fed"),
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
            extra,
        )

    def _uptake_extra(self, feeds: Sequence[Feed]) -> Figure:
        """What the maker's uptake weights make the added nitrogen count beyond its mass."""
        items = [item for feed in feeds for item in feed.items]
        weights = {item.name: self._jar(item.nutrient).uptake_weight for item in items}
        extra = sum(
            (self._jar(item.nutrient).uptake_weight - 1) * item.nitrogen_mg_l.value
            for item in items
        )
        return Figure(
            extra,
            "mg N/L",
            say("sum of nitrogen x (uptake weight - 1)"),
            TYPED,
            {name: weight for name, weight in weights.items() if weight != 1},
        )


def _share_short(problem: DosingProblem, solution: DosingSolution) -> float:
    """Part of the nitrogen the protocol asks for that limits keep back (0 to 1)."""
    asked = sum(ask.nitrogen_mg_l for ask in problem.feeds)
    return solution.short_mg_l / asked if asked > 0 else 0.0
