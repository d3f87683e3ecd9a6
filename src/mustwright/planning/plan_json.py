"""The same answer for every shell: results as plain data, with the working beside them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from mustwright.figure import ARITHMETIC, Figure, figure_data, unfold
from mustwright.nutrition.feeding_plan import Feed
from mustwright.planning.acidity.protocol_risk import risk_shape
from mustwright.planning.json_ranges import ranges_of
from mustwright.planning.must_setup import MustResult
from mustwright.planning.plan_forecast import outcome_shape
from mustwright.planning.plan_result import Comparison, PlanResult
from mustwright.yeast.pitch import Pitch


def plan_data(result: PlanResult, explain: bool = False) -> dict[str, Any]:
    """A plan as one JSON object; with `explain`, the working of each figure by its place."""
    shown = _plan_shape(result)
    data, working = unfold(shown)
    if explain:
        data["working"] = working_data(working)
    return dict(data)


def plan_working(result: PlanResult) -> dict[str, Figure]:
    """Every figure of a plan by its place in the JSON object."""
    return unfold(_plan_shape(result))[1]


def comparison_data(result: Comparison, explain: bool = False) -> dict[str, Any]:
    """A comparison as one JSON object, each protocol with the shape of a plan."""
    shown = _comparison_shape(result)
    data, working = unfold(shown)
    if explain:
        data["working"] = working_data(working)
    return dict(data)


def comparison_working(result: Comparison) -> dict[str, Figure]:
    """Every figure of a comparison by its place in the JSON object."""
    return unfold(_comparison_shape(result))[1]


def working_data(working: Mapping[str, Figure]) -> dict[str, Any]:
    """The working of every figure by its place, each shared part unfolded once.

    A figure that appears at another place too, alone or as an input, is given there in full; here
    it has a ``see`` with that place instead of its inputs.
    """
    places: dict[int, str] = {}
    for place, figure in working.items():
        places.setdefault(id(figure), place)
    return {place: _unfolded(figure, places, place) for place, figure in working.items()}


def _unfolded(figure: Figure, places: Mapping[int, str], here: str) -> dict[str, Any]:
    known = places.get(id(figure))
    data = figure_data(replace(figure, inputs={}))
    if known is not None and known != here:
        data["see"] = known
    elif figure.inputs:
        data["inputs"] = {
            name: _unfolded(made, places, "") if isinstance(made, Figure) else made
            for name, made in figure.inputs.items()
        }
    return data


def _plan_shape(result: PlanResult) -> dict[str, Any]:
    shape = {
        "name": result.name,
        "must": _must_shape(result.must),
        "pitch": _pitch_shape(result.pitch),
        **_feeding_shape(result.plan),
        "outcome": outcome_shape(result.outcome),
        "acid": risk_shape(result.acid),
        "chosen": result.chosen,
        "why": list(result.verdict.reasons),
        "against": list(result.verdict.against),
        "suits": result.verdict.figure,
        "legal": {
            "profile": result.profile.id,
            "name": result.profile.name,
            "edition": result.profile.edition,
            "note": result.profile.note,
        },
    }
    shape["warnings"] = list(result.warnings)
    return shape


def _comparison_shape(result: Comparison) -> dict[str, Any]:
    must, pitch = _must_shape(result.must), _pitch_shape(result.pitch)
    protocols = []
    outcomes = result.outcomes or (None,) * len(result.plans)
    acid = result.acid or (None,) * len(result.plans)
    for plan, verdict, outcome, risk in zip(
        result.plans, result.verdicts, outcomes, acid, strict=True
    ):
        shape = {
            "must": must,
            "pitch": pitch,
            **_feeding_shape(plan),
            "outcome": outcome_shape(outcome),
            "acid": risk_shape(risk),
            "why": list(verdict.reasons),
            "against": list(verdict.against),
            "suits": verdict.figure,
        }
        shape["warnings"] = [*result.warnings, *plan.warnings]
        protocols.append(shape)
    return {
        "name": result.name,
        "must": must,
        "pitch": pitch,
        "suits_best": result.suits_best,
        "protocols": protocols,
        "legal": {
            "profile": result.profile.id,
            "name": result.profile.name,
            "edition": result.profile.edition,
            "note": result.profile.note,
        },
        "warnings": list(result.warnings),
    }


def _must_shape(must: MustResult) -> dict[str, Any]:
    shape = {name: getattr(must, name) for name in must.__dataclass_fields__}
    shape["ranges"] = ranges_of(shape)
    return shape


def _pitch_shape(pitch: Pitch) -> dict[str, Any]:
    return {name: getattr(pitch, name) for name in pitch.__dataclass_fields__}


def _feeding_shape(plan: Any) -> dict[str, Any]:
    shape = {name: getattr(plan, name) for name in plan.__dataclass_fields__}
    shape.pop("warnings")
    nitrogen = {name: getattr(plan.nitrogen, name) for name in plan.nitrogen.__dataclass_fields__}
    shape["nitrogen"] = {**nitrogen, "ranges": ranges_of(nitrogen)}
    shape["cut_share"] = Figure(
        plan.cut_share,
        "",
        "nitrogen that limits keep back / nitrogen the protocol asks for",
        ARITHMETIC,
        {"to_add_mg_l": plan.nitrogen.aim_mg_l, "given_mg_l": plan.nitrogen.added_mg_l},
    )
    shape["feeds"] = [_feed_shape(feed) for feed in plan.feeds]
    return shape


def _feed_shape(feed: Feed) -> dict[str, Any]:
    shape = {name: getattr(feed, name) for name in feed.__dataclass_fields__}
    shape["sugar_used"] = Figure(
        feed.sugar_used,
        "",
        "as the trigger says, or what the usual pace has used by the expected hour",
        feed.expected_h.source,
        {"expected_h": feed.expected_h},
    )
    return shape
