"""Tannin by taste."""

from __future__ import annotations

from collections.abc import Mapping

from mustwright.batch.finishing_record import Added, StepDone
from mustwright.bench import shared_fields as shared
from mustwright.bench.amounts import LIKELY, MOST_G, Use
from mustwright.bench.field_text import grams
from mustwright.bench.fields import FormPart, TypedFields
from mustwright.bench.recording import AnsweredStep
from mustwright.bench.step import FinishingStep
from mustwright.finishing.tannin import TanninDose, tannin_dose
from mustwright.texts import say


def _work(typed: TypedFields) -> TanninDose:
    return tannin_dose(typed["volume"], typed.law, typed["scale"])


def _said(result: TanninDose) -> str:
    low, high = grams(result.grams_low), grams(result.grams_high)
    return say(
        "Somewhere from {low} to {high} of tannin: let the trial glasses decide.",
        low=low,
        high=high,
    )


def _uses(result: TanninDose, _volume_l: float) -> list[Use]:
    return [Use("grams.1", say("Tannin used"), "g", None, MOST_G, LIKELY * result.grams_high.value)]


def _recorded(_result: TanninDose, _case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    return StepDone("tannin", (Added("tannin", "Tannin", used["grams.1"]),))


TANNIN = FinishingStep(
    "tannin", TanninDose, say("Tannin by taste"), say("Trial glasses across the usual range."),
    (FormPart("", (shared.VOLUME, shared.PROFILE, shared.SCALE)),),
    _work, _said, _recorded, _uses, cautions=("bench_first",),
)  # fmt: skip
