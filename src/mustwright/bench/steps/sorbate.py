"""Sorbate, beside sulfite."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from mustwright.batch.finishing_record import StepDone
from mustwright.bench import kinds
from mustwright.bench import shared_fields as shared
from mustwright.bench.field_text import grams, milligrams
from mustwright.bench.fields import FormPart, StepField, TypedFields
from mustwright.bench.liquid import MeadNow
from mustwright.bench.recording import AnsweredStep, as_used, over
from mustwright.bench.step import FinishingStep
from mustwright.finishing.sorbate import SorbateAsk, SorbateDose, sorbate_dose
from mustwright.finishing.step import finishing_data
from mustwright.texts import say

NEARLY_MG_L = 0.005


def _work(typed: TypedFields) -> SorbateDose:
    now = typed["sorbic"] or 0.0
    return sorbate_dose(typed.ask(SorbateAsk, sorbic_now_mg_l=now), typed.law)


def _said(result: SorbateDose) -> str:
    sorbic = milligrams(result.sorbic_acid_mg_l)
    if result.weigh_g.value <= 0:
        return say("Add none: it holds {sorbic} of sorbic acid.", sorbic=sorbic)
    return say(
        "Dissolve {grams} of potassium sorbate in {water_ml:.0f} mL of water and "
        "stir it in: sorbic acid comes to {sorbic}.",
        grams=grams(result.weigh_g),
        water_ml=result.water_ml.value,
        sorbic=sorbic,
    )


def _recorded(result: SorbateDose, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    added = as_used(case, used)
    words = over(
        case, added, "sorbic_acid_mg_l", result.sorbic_acid_mg_l, result.legal_sorbic_mg_l,
        say("sorbic acid"),
    )  # fmt: skip
    return StepDone("sorbate", added, words=words)


def _leaves(before: MeadNow, _result: SorbateDose) -> dict[str, Any]:
    """Whether sulfite and sorbate now stand together."""
    enough = float(finishing_data()["sorbate"]["so2_molecular_mg_l"])
    both = (before.molecular_so2_mg_l or 0.0) > enough - NEARLY_MG_L
    return {"stabilised": "sulfite+sorbate" if both else before.stabilised, "ph": before.ph}


SORBATE = FinishingStep(
    "sorbate", SorbateDose, say("Sorbate, beside sulfite"),
    say(
        "Keeps yeast from multiplying in a mead that has stopped fermenting, is clear and "
        "sulfited."),
    (
        FormPart("", (
            shared.VOLUME, shared.ALCOHOL.needed(), shared.PH, shared.MOLECULAR,
            StepField("malolactic", say("Malolactic bacteria have worked in it, or may"),
                      kind=kinds.FLAG),
            StepField("fermenting", say("It still ferments"), kind=kinds.FLAG), shared.PROFILE,
        )),
        FormPart(say("Earlier sorbate, and the scale"), (shared.SORBIC, shared.SCALE), folded=True),
    ),
    _work, _said, _recorded, leaves=_leaves,
    title=say("Sorbate"), cautions=("sorbate_no_brake",),
)  # fmt: skip
