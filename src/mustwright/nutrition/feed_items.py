"""From grams to feeds: each with its items, its nitrogen of either kind, and what to mind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from mustwright.figure import ARITHMETIC, Figure, total
from mustwright.nutrition.balance import from_nutrient
from mustwright.nutrition.dosing_problem import FeedAsk, Floats
from mustwright.nutrition.feeding_plan import Feed, FeedItem, Setting
from mustwright.nutrition.feeds import FeedSlot
from mustwright.nutrition.protocols import Protocol
from mustwright.nutrition.shelf import Nutrient
from mustwright.texts import say


@dataclass(frozen=True)
class FeedTable:
    """What feeds are made from.

    Parameters
    ----------
    setting : Setting
    protocol : Protocol
    slots : tuple of FeedSlot
    asks : tuple of FeedAsk
        One a slot.
    to_add : Figure
        Nitrogen the protocol adds [mg N/L].
    """

    setting: Setting
    protocol: Protocol
    slots: tuple[FeedSlot, ...]
    asks: tuple[FeedAsk, ...]
    to_add: Figure

    def feeds(self, grams: Floats) -> tuple[Feed, ...]:
        """The feeds of so many grams, feeds by jars [g]."""
        return tuple(self._feed(i, grams[i]) for i in range(len(self.slots)))

    def jar(self, identity: str) -> Nutrient:
        """A jar of the shelf by its id."""
        return next(jar for jar in self.setting.jars if jar.id == identity)

    def _feed(self, i: int, grams: Floats) -> Feed:
        slot = self.slots[i]
        must = self.setting.must
        items = tuple(
            self._item(jar, float(grams[j]), slot, self.asks[i])
            for j, jar in enumerate(self.setting.jars)
            if grams[j] > 0
        )
        kinds = {kind: self._kind(items, kind) for kind in ("ammonium", "amino")}
        return Feed(
            name=slot.rule.name,
            trigger=slot.rule.trigger.words(must.brix.value, must.fermentable_share),
            trigger_rule=slot.rule.trigger.as_data(),
            expected_h=slot.expected,
            sugar_used=round(slot.sugar_used, 3),
            items=items,
            nitrogen_mg_l=total(kinds, "mg N/L"),
            ammonium_mg_l=kinds["ammonium"],
            amino_mg_l=kinds["amino"],
            notes=(*slot.notes, *self._skip_notes(items)),
        )

    def _kind(self, items: Sequence[FeedItem], kind: str) -> Figure:
        volume = self.setting.must.volume_l
        return total(
            {
                item.name: from_nutrient(self.jar(item.nutrient), item.grams, volume)[f"{kind}_n"]
                for item in items
            },
            "mg N/L",
        )

    def _item(self, jar: Nutrient, grams: float, slot: FeedSlot, ask: FeedAsk) -> FeedItem:
        if ask.fixed_g_l is not None:
            how = say("stated rate x volume, within every limit, to the scale's step")
            source = say("the protocol: {source}", source=self.protocol.source)
        else:
            how = say(
                "blend programme: share of the nitrogen to add, within every limit, at least cost"
            )
            source = say("linear programme over the shelf")
        volume = self.setting.must.volume_l
        inputs: dict[str, Figure | float | str] = {
            "nitrogen_to_add_mg_l": self.to_add,
            "share_of_plan": slot.share,
            "volume_l": volume,
            "scale_step_g": self.setting.shelf.scale_g,
        }
        figure = Figure(grams, "g", how, source, inputs)
        brought = from_nutrient(jar, figure, volume)
        nitrogen = total({k: brought[f"{k}_n"] for k in ("ammonium", "amino")}, "mg N/L")
        return FeedItem(jar.id, jar.name, figure, nitrogen, _teaspoons(jar, figure), jar.caution)

    def _skip_notes(self, items: Sequence[FeedItem]) -> list[str]:
        notes: list[str] = []
        conditions = self.protocol.conditions
        has_ammonium = any(self.jar(i.nutrient).per_gram("ammonium_n") > 0 for i in items)
        if has_ammonium and conditions.ammonium_until_sugar_used is not None:
            share = conditions.ammonium_until_sugar_used
            notes.append(
                say(
                    "Leave the ammonium out if more than {percent:.0f} % of the sugar is gone.",
                    percent=100 * share,
                )
            )
        if has_ammonium and conditions.ammonium_until_alcohol_pct is not None:
            notes.append(
                say(
                    "Leave the ammonium out above {alcohol:g} % vol.",
                    alcohol=conditions.ammonium_until_alcohol_pct,
                )
            )
        return notes


def about_teaspoons(level: float | None) -> str:
    """Level teaspoons as they stand beside grams; empty where nobody weighed one.

    Examples
    --------
    >>> about_teaspoons(2.5), about_teaspoons(None)
    (' (about 2.5 tsp)', '')
    """
    return say(" (about {teaspoons:.2g} tsp)", teaspoons=level) if level else ""


def _teaspoons(jar: Nutrient, grams: Figure) -> Figure | None:
    spoon = jar.grams_per_teaspoon
    if spoon is None:
        return None
    inputs: dict[str, Figure | float | str] = {"grams": grams, "grams_per_teaspoon": spoon}
    how = say("grams / grams per teaspoon of the label")
    return Figure(grams.value / spoon, "tsp", how, ARITHMETIC, inputs)
