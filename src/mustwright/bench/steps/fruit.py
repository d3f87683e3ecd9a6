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
from mustwright.texts import join, say


def _work(typed: TypedFields) -> LateAddition:
    return add_late(
        typed["volume"], typed["gravity"], typed["alcohol"], typed["with"], typed["amount"],
        protection_of(typed),
    )  # fmt: skip


def _said(result: LateAddition) -> str:
    brings = say(
        "It brings {grams} of sugar, {sugar_g_l:.1f} g/L, and thins the mead to "
        "{alcohol_pct:.1f} % vol.",
        grams=grams(result.sugar_g),
        sugar_g_l=result.sugar_g_l.value,
        alcohol_pct=result.alcohol_now_pct.value,
    )
    if not result.wakes_yeast:
        return brings
    wakes = say(
        "Live yeast will ferment it, to about {alcohol_pct:.1f} % vol: fit an airlock.",
        alcohol_pct=result.alcohol_if_fermented_pct.value,
    )
    return join(" ", (brings, wakes))


def _recorded(result: LateAddition, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    one = result.recorded.additions[0]
    made = added(case, one, used["grams.1"], gained(case, case.volume_l))
    return StepDone("fruit", (made,), protected=not result.wakes_yeast and case.is_stopped)


FRUIT = FinishingStep(
    "fruit", LateAddition, say("Fruit, juice or honey after the ferment"),
    say("How much sugar it adds, and whether it will ferment again."),
    (
        FormPart("", (
            shared.WITH.but(label=say("Its name"), hint=say("such as raspberry"),
                            needs=say("a fruit or juice such as 'raspberry'")),
            shared.VOLUME,
        )),
        FormPart(say("Fruit, juice or honey"), (
            StepField("amount", say("Mass of it"), "2 kg", kinds.KILOGRAMS,
                      needs=kinds.KILOGRAMS.such_as),
            shared.GRAVITY.needed(), shared.ALCOHOL.needed(), shared.STABILISED,
        )),
        FormPart(say("Your fruit, and proof that alcohol alone stops the yeast"), (
            shared.BRIX, shared.MOISTURE, shared.SUGAR_NOW, shared.TOLERANCE, shared.STILL,
        ), folded=True),
    ),
    _work, _said, _recorded,
    cautions=("pressure_glass", "poisonous_plant_parts", "allergens_named"),
)  # fmt: skip
