"""The same answer for every shell: results as plain data, with the working beside them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from mustwright.services.plan import Comparison, MustResult, PlanResult
from mustwright.working import Figure, figure_data, tidy, unfold
from mustwright.yeast.pitch import Pitch


def plan_data(result: PlanResult, explain: bool = False) -> dict[str, Any]:
    """A plan as one JSON object; with `explain`, the working of each figure by its place."""
    shown = _plan_shape(result)
    data, working = unfold(shown)
    if explain:
        data["working"] = {place: figure_data(figure) for place, figure in working.items()}
    return dict(data)


def plan_working(result: PlanResult) -> dict[str, Figure]:
    """Every figure of a plan by its place in the JSON object."""
    return unfold(_plan_shape(result))[1]


def comparison_data(result: Comparison, explain: bool = False) -> dict[str, Any]:
    """A comparison as one JSON object, each protocol with the shape of a plan."""
    shown = _comparison_shape(result)
    data, working = unfold(shown)
    if explain:
        data["working"] = {place: figure_data(figure) for place, figure in working.items()}
    return dict(data)


def comparison_working(result: Comparison) -> dict[str, Figure]:
    """Every figure of a comparison by its place in the JSON object."""
    return unfold(_comparison_shape(result))[1]


def _plan_shape(result: PlanResult) -> dict[str, Any]:
    shape = {
        "name": result.name,
        "must": _must_shape(result.must),
        "pitch": _pitch_shape(result.pitch),
        **_feeding_shape(result.plan),
        "chosen": result.chosen,
        "why": list(result.verdict.reasons),
        "against": list(result.verdict.against),
        "suits": result.verdict.points,
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
    for plan, verdict in zip(result.plans, result.verdicts, strict=True):
        shape = {
            "must": must,
            "pitch": pitch,
            **_feeding_shape(plan),
            "why": list(verdict.reasons),
            "against": list(verdict.against),
            "suits": verdict.points,
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


def ranges_of(shape: Mapping[str, object]) -> dict[str, list[float]]:
    """Low and high end of every figure that carries a range."""
    return {
        name: [tidy(figure.low), tidy(figure.high)]
        for name, figure in shape.items()
        if isinstance(figure, Figure) and figure.low is not None and figure.high is not None
    }


def _pitch_shape(pitch: Pitch) -> dict[str, Any]:
    return {name: getattr(pitch, name) for name in pitch.__dataclass_fields__}


def _feeding_shape(plan: Any) -> dict[str, Any]:
    shape = {name: getattr(plan, name) for name in plan.__dataclass_fields__}
    shape.pop("warnings")
    nitrogen = {name: getattr(plan.nitrogen, name) for name in plan.nitrogen.__dataclass_fields__}
    shape["nitrogen"] = {**nitrogen, "ranges": ranges_of(nitrogen)}
    return shape
