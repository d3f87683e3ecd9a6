"""Sweeten to a gravity, to g/L of sugar, or to a word."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from mustwright.batch.finishing_record import StepDone
from mustwright.batch.liquid_words import short_name
from mustwright.bench import kinds
from mustwright.bench import shared_fields as shared
from mustwright.bench.field_text import grams
from mustwright.bench.fields import FormPart, StepField, TypedFields
from mustwright.bench.kinds import AsTyped, FieldKind, gravity_of, gravity_scaled
from mustwright.bench.recording import AnsweredStep, added, gained
from mustwright.bench.step import FinishingStep
from mustwright.errors import ImpossibleError, InputError
from mustwright.finishing.protection import Protection
from mustwright.finishing.step import finishing_data
from mustwright.finishing.sweeten import SweetenAsk, Sweetening, sweeten
from mustwright.must.gravity_text import gravity_text
from mustwright.texts import literal, say
from mustwright.unit_system import measured_volume
from mustwright.units import parse_quantity


def _sweetness() -> list[str]:
    return [str(one["id"]) for one in finishing_data()["sweetness"]]


def _such_as() -> str:
    return say("a gravity, g/L of sugar, or one of {words}", words=", ".join(_sweetness()))


def _goal(value: object, name: str, among: AsTyped) -> dict[str, float]:
    """A gravity, or grams of sugar per litre (typed, or by a word)."""
    word = str(value).strip().lower()
    for one in finishing_data()["sweetness"]:
        if one["id"] == word:
            among.assumed.append(
                say(
                    "to: '{word}' taken as {sugar_g_l:g} g/L ({source})",
                    word=word,
                    sugar_g_l=one["g_l"],
                    source=one["source"],
                )
            )
            return {"to_sugar_g_l": float(one["g_l"])}
    quantity = parse_quantity(value, name)
    if quantity.dimension == "mass concentration" or quantity.unit == "g/L sugar":
        return {"to_sugar_g_l": quantity.value}
    if quantity.dimension in ("number", "gravity"):
        return {"to_gravity": gravity_of(value, name)}
    raise InputError(name, say("needs {such_as}", such_as=_such_as()), value)


def protection_of(typed: TypedFields) -> Protection:
    """How yeast was stopped, with the proof that alcohol alone does it."""
    by = str(typed["stabilised"]).lower() or None
    high = typed["tolerance"][1] if typed["tolerance"] else None
    return Protection(by, high, typed["days_still"], typed["residual_sugar"])


def _work(typed: TypedFields) -> Sweetening:
    if typed["to"] is None:
        raise InputError("to", say("needs {such_as}", such_as=_such_as()), None)
    ask = typed.ask(
        SweetenAsk,
        sweetener=typed["with"],
        residual_sugar_g_l=typed["residual_sugar"],
        protection=protection_of(typed),
        glasses=int(typed["glasses"]),
        **typed["to"],
    )
    return sweeten(ask, typed.law)


def _said(result: Sweetening) -> str:
    does = say(
        "{grams} of {sweetener} bring it to {gravity}: {volume} with {sugar_g_l:.0f} g/L of sugar "
        "at {alcohol_pct:.2f} % vol.",
        grams=grams(result.weigh_g),
        sweetener=short_name(result.sweetener),
        gravity=gravity_text(result.new_gravity.value, 4),
        volume=measured_volume(result.new_volume_l.value),
        sugar_g_l=result.sugar_after_g_l.value,
        alcohol_pct=result.new_alcohol_pct.value,
    )
    return does if result.ready else say("Protect it first. Then {does}", does=does)


def _recorded(result: Sweetening, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    if not result.ready:
        raise ImpossibleError(
            "stabilised",
            say(
                "needs the mead protected before sweetening is written down as done; honey that "
                "was meant to ferment is written into the batch as 'Honey or sugar added'"
            ),
            str(case.given.get("stabilised") or "nothing said"),
        )
    one = result.recorded.additions[0]
    whole = 1000 * result.kg.value
    made = added(case, one, used["grams.1"], gained(case, case.volume_l), whole)
    if result.new_acidity_g_l is not None:
        before = shared.ACIDITY.read(case.given.get("acidity")) or 0.0
        rise = result.new_acidity_g_l.value * result.new_volume_l.value - before * case.volume_l
        share = used["grams.1"] / whole if whole > 0 else 0.0
        made = replace(made, brings_g={**made.brings_g, "acidity": rise * share})
    return StepDone("sweeten", (made,), protected=True)


SWEETEN = FinishingStep(
    "sweeten", Sweetening, say("Sweeten to a gravity or to taste"),
    say("What to add, what it does to the mead, and a set of glasses to taste first."),
    (
        FormPart("", (
            shared.VOLUME, shared.GRAVITY.needed(), shared.ALCOHOL.needed(),
            StepField(
                "to", say("Sweet as"),
                literal("a gravity such as {gravity}, sugar such as 40 g/L, or dry, medium, sweet, "
                    "dessert"),
                FieldKind("GOAL", _goal, scaled=gravity_scaled), known=_sweetness,
                amounts=(("gravity", "1.015"),),
            ),
            shared.WITH.but(label=say("Sweeten with"), default="honey"),
            shared.STABILISED, shared.PROFILE,
        )),
        FormPart(say("Proof that alcohol alone stops the yeast"), (shared.TOLERANCE, shared.STILL),
                 folded=True),
        FormPart(say("More that is known"), (
            shared.SUGAR_NOW, shared.ACIDITY, shared.PH, shared.MOISTURE, shared.BRIX,
            StepField("glasses", say("Number of trial glasses"), "6", kinds.NUMBER, default="6"),
            shared.SCALE.but(hint="1 g", default="1 g"),
        ), folded=True),
    ),
    _work, _said, _recorded,
    title=say("Sweeten"), cautions=("pressure_glass", "bench_first"),
)  # fmt: skip
