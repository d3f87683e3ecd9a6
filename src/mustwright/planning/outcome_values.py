"""What a forecast says of a plan, by the names that the ranking weighs.

The one place where results of the model become the values of ``data/aims.toml``: what the model
learns to say is added here and nowhere else.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from mustwright.nutrition.feeding_plan import FeedingPlan

if TYPE_CHECKING:
    from mustwright.planning.plan_result import Outcome


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
        "peak_gas_l_h": outcome.peak_gas_l_h.value,
        "ammonium_left_mg_l": outcome.unused_ammonium_mg_l.value,
        "amino_left_mg_l": outcome.unused_amino_mg_l.value,
        "ammonium_share": plan.nitrogen.added_ammonium_mg_l.value / added if added > 0 else 0.0,
        "feeds": float(sum(bool(feed.items) for feed in plan.feeds)),
    }
    return found if plan.cost is None else {**found, "cost": plan.cost.value}
