"""Tastings and trials as plain data: the keys that commands print and pages embed."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from mustwright.learning.discrimination import METHOD, PanelPlan, PanelResult, similarity
from mustwright.learning.ranking import RankingResult
from mustwright.learning.scores import ScoresResult
from mustwright.learning.serving_order import ServingPlan
from mustwright.learning.tasting_text import (
    plan_sentences,
    ranking_sentence,
    result_sentence,
    scores_sentence,
    tasting_cautions,
    trial_sentences,
)
from mustwright.learning.trial_design import TrialPlan
from mustwright.texts import join


def panel_plan_data(plan: PanelPlan) -> dict[str, Any]:
    """What a panel can show."""
    alike = similarity(plan.test, plan.tasters)
    return {
        "test": plan.test,
        "tasters": plan.tasters,
        "sided": plan.sided,
        "alpha": plan.alpha,
        "critical": plan.critical,
        "true_alpha": plan.true_alpha,
        "power": {f"{share:g}": power for share, power in plan.power.items()},
        "recommended_tasters": plan.recommended_tasters,
        "best_of_these": plan.best_of_these,
        "similarity": {
            "possible": alike.possible,
            "most_correct": alike.most_correct,
            "message": alike.message,
        },
        "method": METHOD,
        "message": join(" ", plan_sentences(plan)),
        "cautions": list(tasting_cautions()),
    }


def panel_result_data(result: PanelResult) -> dict[str, Any]:
    """What a count of right answers shows."""
    distance = result.d_prime
    return {
        "test": result.test,
        "tasters": result.tasters,
        "correct": result.correct,
        "sided": result.sided,
        "p": result.p,
        "d_prime": distance.value,
        "d_prime_se": distance.se,
        "d_prime_low": distance.low,
        "d_prime_high": distance.high,
        "share_low": result.share_low,
        "share_high": result.share_high,
        "method": METHOD,
        "message": result_sentence(result),
    }


def ranking_data(result: RankingResult, products: tuple[str, ...]) -> dict[str, Any]:
    """What a table of ranks shows."""
    return {
        "test": "ranking",
        "tasters": result.tasters,
        "products": list(products),
        "rank_sums": list(result.rank_sums),
        "friedman": result.friedman,
        "critical": result.critical,
        "p": result.p,
        "page_l": result.page_l,
        "page_p": result.page_p,
        "least_difference": result.least_difference,
        "method": result.method,
        "message": ranking_sentence(result),
    }


def scores_data(result: ScoresResult, products: tuple[str, ...]) -> dict[str, Any]:
    """What a table of scores shows."""
    return {
        "test": "scores",
        "tasters": result.tasters,
        "products": list(products),
        "means": list(result.means),
        "p": result.p,
        "difference": result.difference,
        "low": result.low,
        "high": result.high,
        "confidence": result.confidence,
        "method": result.method,
        "message": scores_sentence(result),
    }


def serving_data(
    plan: ServingPlan, codes: tuple[tuple[int, ...], ...], products: int, seed: int
) -> dict[str, Any]:
    """Serving orders and the codes on the glasses.

    Parameters
    ----------
    plan : ServingPlan
    codes : tuple of tuple of int
        In the shape of the orders.
    products : int
    seed : int
        The orders were dealt with.

    Returns
    -------
    dict
        For JSON.
    """
    return {
        "products": products,
        "tasters": len(plan.orders),
        "seed": seed,
        "orders": [list(order) for order in plan.orders],
        "codes": [list(row) for row in codes],
        "balanced": plan.balanced,
        "tasters_for_balance": plan.tasters_for_balance,
        "cautions": list(tasting_cautions()),
    }


def trial_plan_data(plan: TrialPlan, seed: int) -> dict[str, Any]:
    """What a layout can show, and the lot."""
    return {
        "vessels": plan.vessels,
        "arms": plan.arms,
        "paired": plan.paired,
        "seed": seed,
        "smallest_p": plan.smallest_p,
        "allocation": [
            {"vessel": v.vessel, "arm": v.arm, "code": v.code, "must": v.must}
            for v in plan.allocation
        ],
        "detectable_difference": plan.detectable_difference,
        "spread": plan.spread,
        "spread_assumed": plan.spread_assumed,
        "spread_learned": None if plan.learned is None else asdict(plan.learned),
        "vessels_needed": plan.vessels_needed,
        "message": join(" ", trial_sentences(plan)),
    }
