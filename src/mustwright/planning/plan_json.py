"""A plan, and several side by side, as plain data: the same answer for every shell."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from mustwright.figure import ARITHMETIC, Figure
from mustwright.nutrition.feeding_plan import AsWritten, Feed
from mustwright.nutrition.limits import LegalProfile
from mustwright.plain_data import answer_data, fields_of, picked, with_ranges, working_of
from mustwright.planning.own_nitrogen import own_nitrogen
from mustwright.planning.plan_result import Comparison, PlanResult
from mustwright.planning.tailored import TailoredPlan
from mustwright.texts import say

# Drawn, told elsewhere, or, as the lowest pH, told once: by the acid of the plan, which knows more.
NOT_TOLD = ("times_h", "gravity", "feeds_h", "salt_h", "lowest_ph")


def plan_data(
    result: PlanResult,
    explain: bool = False,
    tailored: Sequence[TailoredPlan] | None = None,
) -> dict[str, Any]:
    """A plan as one JSON object; with `explain`, the working of each figure by its place.

    Parameters
    ----------
    result : PlanResult
    explain : bool
    tailored : sequence of TailoredPlan or None
        What a search found beside it; None where none was made.

    Returns
    -------
    dict
    """
    shape = _plan_shape(result)
    if tailored is not None:
        shape["tailored"] = [_tailored_shape(one) for one in tailored]
    return answer_data(shape, explain)


def plan_working(result: PlanResult) -> dict[str, Figure]:
    """Every figure of a plan by its place in the JSON object."""
    return working_of(_plan_shape(result))


def comparison_data(result: Comparison, explain: bool = False) -> dict[str, Any]:
    """A comparison as one JSON object, each protocol with the shape of a plan."""
    return answer_data(_comparison_shape(result), explain)


def comparison_working(result: Comparison) -> dict[str, Figure]:
    """Every figure of a comparison by its place in the JSON object."""
    return working_of(_comparison_shape(result))


def _plan_shape(result: PlanResult) -> dict[str, Any]:
    return {
        "name": result.name,
        "own_nitrogen": own_nitrogen(result.ground),
        **_must_shape(result),
        **_protocol_shape(result),
        "chosen": result.chosen,
        "batch_cost": fields_of(result.cost),
        "aim": result.aim.id,
        **_levers_shape(result),
        "legal": _legal(result.profile),
        "warnings": result.warnings,
    }


def _levers_shape(result: PlanResult) -> dict[str, Any]:
    """What would matter most; absent where it was not worked out."""
    if result.levers is None:
        return {}
    return {
        "levers_in_words": result.levers.words,
        "levers": [with_ranges(one) for one in (result.levers.as_planned, *result.levers.moved)],
    }


def _comparison_shape(result: Comparison) -> dict[str, Any]:
    must = _must_shape(result)
    return {
        "name": result.name,
        "own_nitrogen": own_nitrogen(result.ground),
        **must,
        "suits_best": result.suits_best,
        "aim": result.ranked.aim.id,
        "protocols": [
            {**must, **_protocol_shape(one), "warnings": one.warnings} for one in result.every()
        ],
        "legal": _legal(result.profile),
        "warnings": result.warnings,
    }


def _must_shape(result: PlanResult | Comparison) -> dict[str, Any]:
    return {"must": with_ranges(result.must), "pitch": result.pitch}


def _legal(profile: LegalProfile) -> dict[str, Any]:
    return {"profile": profile.id, **picked(profile, "name edition note")}


def _protocol_shape(result: PlanResult) -> dict[str, Any]:
    plan, outcome, acid = result.plan, result.outcome, result.acid
    cut_share = Figure(
        plan.cut_share,
        "",
        say("nitrogen that limits keep back / nitrogen the protocol asks for"),
        ARITHMETIC,
        {"to_add_mg_l": plan.nitrogen.aim_mg_l, "given_mg_l": plan.nitrogen.added_mg_l},
    )
    return {
        **fields_of(
            plan,
            "warnings",
            nitrogen=with_ranges(plan.nitrogen),
            cut_share=cut_share,
            feeds=[_feed_shape(feed) for feed in plan.feeds],
        ),
        "outcome": outcome and with_ranges(outcome, *NOT_TOLD),
        "acid": acid and with_ranges(acid),
        "why": result.verdict.reasons,
        "against": result.verdict.against,
        "suits": result.loss,
        "group": result.group,
        "as_written": _as_written(plan.as_written),
    }


def _tailored_shape(one: TailoredPlan) -> dict[str, Any]:
    return {
        **fields_of(one, "plan", "ground"),
        "feeds": [_feed_shape(feed) for feed in one.plan.feeds],
        "salt": one.plan.salt,
        "outcome": with_ranges(one.outcome, *NOT_TOLD),
    }


def _as_written(author: AsWritten) -> dict[str, Any]:
    return fields_of(author, feeds=[_feed_shape(feed) for feed in author.feeds])


def _feed_shape(feed: Feed) -> dict[str, Any]:
    sugar_used = Figure(
        feed.sugar_used,
        "",
        say("as the trigger says, or what the usual pace has used by the expected hour"),
        feed.expected_h.source,
        {"expected_h": feed.expected_h},
    )
    return fields_of(feed, sugar_used=sugar_used)
