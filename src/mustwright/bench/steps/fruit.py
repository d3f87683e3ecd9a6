"""Fruit, juice or honey late: what it brings, and whether yeast wakes to it."""

from __future__ import annotations

from collections.abc import Mapping

from mustwright.batch.finishing_record import StepDone
from mustwright.bench import kinds
from mustwright.bench import shared_fields as shared
from mustwright.bench.field_text import grams
from mustwright.bench.fields import FormPart, StepField, TypedFields
from mustwright.bench.recording import AnsweredStep, added, gained
from mustwright.bench.step import FinishingStep
from mustwright.bench.steps.sweeten import protection_of
from mustwright.finishing.late import LateAddition, add_late


def _work(typed: TypedFields) -> LateAddition:
    return add_late(
        typed["volume"], typed["gravity"], typed["alcohol"], typed["with"], typed["amount"],
        protection_of(typed),
    )  # fmt: skip


def _said(result: LateAddition) -> str:
    brings = (
        f"It brings {grams(result.sugar_g)} of sugar, {result.sugar_g_l.value:.1f} g/L, and thins "
        f"the mead to {result.alcohol_now_pct.value:.1f} % vol."
    )
    if result.wakes_yeast:
        return (
            f"{brings} Live yeast will ferment it, to about "
            f"{result.alcohol_if_fermented_pct.value:.1f} % vol: fit an airlock."
        )
    return brings


def _recorded(result: LateAddition, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    one = result.recorded.additions[0]
    made = added(case, one, used["grams.1"], gained(case, case.volume_l))
    return StepDone("fruit", (made,), protected=not result.wakes_yeast and case.is_stopped)


FRUIT = FinishingStep(
    "fruit", LateAddition, "Fruit, juice or honey after the ferment",
    "How much sugar it adds, and whether it will ferment again.",
    (
        FormPart("", (
            shared.WITH.but(label="Its name", hint="such as raspberry",
                            needs="a fruit or juice such as 'raspberry'"),
            shared.VOLUME,
        )),
        FormPart("Fruit, juice or honey", (
            StepField("amount", "Mass of it", "2 kg", kinds.KILOGRAMS,
                      needs=kinds.KILOGRAMS.such_as),
            shared.GRAVITY.needed(), shared.ALCOHOL.needed(), shared.STABILISED,
        )),
        FormPart("Your fruit, and proof that alcohol alone stops the yeast", (
            shared.BRIX, shared.MOISTURE, shared.SUGAR_NOW, shared.TOLERANCE, shared.STILL,
        ), folded=True),
    ),
    _work, _said, _recorded,
    cautions=("pressure_glass", "poisonous_plant_parts", "allergens_named"),
)  # fmt: skip
