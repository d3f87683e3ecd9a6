"""What a forecast says of a plan, and its values by the names that the ranking weighs.

The one place where results of the model become the values of ``data/aims.toml``: what the model
learns to say is added here and nowhere else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from mustwright.figure import Figure
from mustwright.kinetics.bands import Band
from mustwright.nutrition.feeding_plan import FeedingPlan

SHARE_SAID = 0.005  # of the runs; less is rounded to 0 %


@dataclass(frozen=True)
class Outcome:
    """What a plan would do, from an ensemble.

    Parameters
    ----------
    days_to_dry : Figure
        Middle, 5 and 95 % [d]; infinite if members never get there.
    days_if_dry : Figure
        The same over the members that get there.
    chance_of_sticking : Figure
        Share of members that stop or crawl with sugar left.
    residual_sugar_g_l, residual_yan_mg_l : Figure
        After six weeks.
    peak_temperature_c : Figure
        Of the middle member and the 5 to 95 % range.
    times_h, gravity : arrays
        The band to draw.
    salt_h : tuple of Band
        When each part of the plan's salt falls due.
    feeds_h : tuple of Band
        When each feed falls due.
    stops_sweet : Figure
        Share that ends where its yeast ends, in a must made to stop sweet; not in the chance of
        sticking.
    not_modelled : Figure
        Part of the chance of sticking that stands for reasons the model does not have.
    peak_gas_l_h : Figure
        CO2 of the whole must at its fastest: foam, and air to let in.
    lowest_ph : Figure
        Of the must while it ferments.
    taken_while_growing : Figure
        Of the nitrogen taken up, the part while cells still grew.
    unused_ammonium_mg_l, unused_amino_mg_l : Figure
        Nitrogen left after six weeks, by kind.
    third_h : Figure
        When a third of the sugar is gone [h]; infinite where that never comes.
    against_best : str
        How it differs from the plan that suits best, or that it does not.
    """

    days_to_dry: Figure
    days_if_dry: Figure
    chance_of_sticking: Figure
    residual_sugar_g_l: Figure
    residual_yan_mg_l: Figure
    peak_temperature_c: Figure
    times_h: tuple[float, ...]
    gravity: Band
    feeds_h: tuple[Band, ...]
    third_h: Figure
    stops_sweet: Figure
    not_modelled: Figure
    peak_gas_l_h: Figure
    lowest_ph: Figure
    taken_while_growing: Figure
    unused_ammonium_mg_l: Figure
    unused_amino_mg_l: Figure
    against_best: str = ""
    salt_h: tuple[Band, ...] = ()

    @property
    def may_stop_sweet(self) -> bool:
        """Whether a share worth saying ends at the limit of its yeast, with sugar left."""
        return self.stops_sweet.value >= SHARE_SAID


def outcome_values(
    plans: Sequence[FeedingPlan], outcomes: Sequence[Outcome]
) -> list[dict[str, float]]:
    """What each plan would do, by the names of ``data/aims.toml``; empty if nothing was forecast.

    Parameters
    ----------
    plans : sequence of FeedingPlan
    outcomes : sequence of Outcome
        One a plan, or none at all.

    Returns
    -------
    list of dict
        One a plan.
    """
    if not outcomes:
        return [{} for _ in plans]
    return [values_of(plan, outcome) for plan, outcome in zip(plans, outcomes, strict=True)]


def values_of(plan: FeedingPlan, outcome: Outcome) -> dict[str, float]:
    """What one plan would do, by the names of ``data/aims.toml``; cost only where it is known."""
    added = plan.nitrogen.added_mg_l.value
    found = {
        "chance_to_finish": 1 - outcome.chance_of_sticking.value,
        "days_to_dry": outcome.days_to_dry.value,
        "peak_temperature_c": outcome.peak_temperature_c.value,
        "ph_trough": outcome.lowest_ph.value,
        "peak_gas_l_h": outcome.peak_gas_l_h.value,
        "ammonium_left_mg_l": outcome.unused_ammonium_mg_l.value,
        "amino_left_mg_l": outcome.unused_amino_mg_l.value,
        "ammonium_share": plan.nitrogen.added_ammonium_mg_l.value / added if added > 0 else 0.0,
        "feeds": float(sum(bool(feed.items) for feed in plan.feeds)),
    }
    return found if plan.cost is None else {**found, "cost": plan.cost.value}
