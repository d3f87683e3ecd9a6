"""Spice or herbs late, by grams per litre."""

from __future__ import annotations

from collections.abc import Mapping

from mustwright.batch.finishing_record import StepDone
from mustwright.bench import kinds
from mustwright.bench import shared_fields as shared
from mustwright.bench.field_text import grams
from mustwright.bench.fields import FormPart, StepField, TypedFields
from mustwright.bench.recording import AnsweredStep, as_used
from mustwright.bench.step import FinishingStep
from mustwright.finishing.late import Spice, spice
from mustwright.texts import kept, say


def _work(typed: TypedFields) -> Spice:
    return spice(typed["volume"], typed["dose"], typed["with"])


def _said(result: Spice) -> str:
    return say(
        "{grams} of {name} in all: steep {third:.1f} g first and taste daily.",
        grams=grams(result.grams),
        name=kept(result.recorded.additions[0].name),
        third=result.grams.value / 3,
    )


def _recorded(_result: Spice, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    return StepDone("spice", as_used(case, used))


SPICE = FinishingStep(
    "spice", Spice, say("Spice or herbs after the ferment"), say("By grams per litre, in thirds."),
    (
        FormPart("", (
            StepField("with", say("Its name"), say("such as vanilla"), kinds.TEXT, default="spice"),
            shared.VOLUME,
        )),
        FormPart(say("Spice or herb"), (
            StepField("dose", say("Spice per litre"), "1 g/L", kinds.G_L,
                      needs=say("grams per litre such as '1 g/L'")),
        )),
    ),
    _work, _said, _recorded, cautions=("poisonous_plant_parts", "allergens_named"),
)  # fmt: skip
