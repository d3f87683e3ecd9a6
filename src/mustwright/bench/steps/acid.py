"""Acid or carbonate, by acidity or pH."""

from __future__ import annotations

import re
from collections.abc import Mapping

from mustwright.batch.finishing_record import StepDone
from mustwright.bench import kinds
from mustwright.bench import shared_fields as shared
from mustwright.bench.field_text import grams
from mustwright.bench.fields import FormPart, StepField, TypedFields
from mustwright.bench.kinds import FieldKind
from mustwright.bench.recording import AnsweredStep, as_used
from mustwright.bench.step import FinishingStep
from mustwright.errors import InputError
from mustwright.finishing.acid import AcidAsk, AcidDose, acid_dose
from mustwright.finishing.acid_chemistry import buffer_from_titration
from mustwright.texts import join, kept, literal, say
from mustwright.units import parse_quantity


def _titration(text: object, name: str, _among: object = None) -> tuple[float, float]:
    """A dose [g/L] and the pH of a glass with it."""
    wrong = InputError(name, say("needs a dose and its pH such as '0.5 g/L: 3.41'"), text)
    parts = re.split(r"\s*[:=]\s*", str(text))
    if len(parts) != 2:
        raise wrong
    dose, ph = parse_quantity(parts[0], name), parse_quantity(parts[1], name)
    if dose.dimension not in ("mass concentration", "number") or ph.dimension != "number":
        raise wrong
    if not (0 <= dose.value <= 50 and 2 <= ph.value <= 9):
        raise wrong
    return dose.value, ph.value


def _work(typed: TypedFields) -> AcidDose:
    buffer = typed["buffer"]
    if typed["titration"]:
        buffer = buffer_from_titration(typed["titration"], typed["with"])
        typed.assumed.append(
            say("Your glasses show a buffer of {buffer:.1f} meq/L per pH.", buffer=buffer)
        )
    return acid_dose(typed.ask(AcidAsk, buffer_meq_l=buffer), typed.law)


def _said(result: AcidDose) -> str:
    weigh, substance = grams(result.weigh_g), kept(result.substance)
    words = say("Add {grams} of {substance}", grams=weigh, substance=substance)
    if result.gas_l.value > 0:
        words = say(
            "Add {grams} of {substance}, half of it first ({half:g} g)",
            grams=weigh,
            substance=substance,
            half=result.first_half_g,
        )
    ends = []
    if result.acidity_after_g_l is not None:
        ends.append(
            say(
                "acidity comes to {acidity_g_l:.2f} g/L",
                acidity_g_l=result.acidity_after_g_l.value,
            )
        )
    if result.ph_after is not None:
        low, high = result.ph_after.low, result.ph_after.high
        ph = say("pH to about {ph:.2f}", ph=result.ph_after.value)
        if low is not None and high is not None:
            ph = say(
                "pH to about {ph:.2f} ({low:.2f} to {high:.2f})",
                ph=result.ph_after.value,
                low=low,
                high=high,
            )
        ends.append(ph)
    return join("", (words, ": ", join(", ", ends), ".") if ends else (words, "."))


def _recorded(result: AcidDose, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    whole = result.weigh_g.value
    share = used["grams.1"] / whole if whole > 0 else 0.0
    after = {}
    ph = shared.PH.read(case.given.get("ph"))
    if result.ph_after is not None and ph is not None:
        after["ph"] = ph + (result.ph_after.value - ph) * share
    return StepDone("acid", as_used(case, used), after=after)


ACID = FinishingStep(
    "acid", AcidDose, say("Acid or carbonate, by acidity or pH"),
    say("By titration, or by pH and the buffer of your mead; glasses to try."),
    (
        FormPart("", (
            shared.VOLUME,
            StepField("with", say("What goes in"), kind=kinds.KIND, to="substance",
                      default="tartaric", choices=(
                ("tartaric", say("tartaric acid")), ("malic", say("malic acid")),
                ("citric", say("citric acid")),
                ("lactic", say("lactic acid")), ("gluconic", say("gluconic acid")),
                ("potassium_bicarbonate", say("potassium bicarbonate")),
                ("potassium_carbonate", say("potassium carbonate")),
                ("calcium_carbonate", say("calcium carbonate")),
            )),
        )),
        FormPart(say("By titration"), (
            shared.ACIDITY,
            StepField("to_acidity", say("Acidity wanted, as tartaric"), "5.5 g/L", kinds.G_L),
        )),
        FormPart(say("By pH"), (
            shared.PH, StepField("to_ph", say("pH wanted"), "3.4", kinds.NUMBER),
            StepField(
                "titration", say("Glasses you dosed and measured"),
                literal("dose and pH, such as {glass}; they give the buffer"),
                FieldKind("'DOSE: PH'", _titration), many=True, rows=True, numbered=True,
                amounts=(("glass", "0.5 g/L: 3.41"),),
            ),
            StepField("buffer", say("Or the buffer, meq/L per pH"), "15", kinds.NUMBER),
        )),
        FormPart("", (shared.PROFILE, shared.SCALE)),
    ),
    _work, _said, _recorded,
    cautions=("bench_first", "carbonate_foam", "caustic_carbonate"),
)  # fmt: skip
