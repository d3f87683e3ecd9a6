"""Rack it off the lees: what is left, and what topping up does."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from mustwright.batch.finishing_record import StepDone
from mustwright.bench import kinds
from mustwright.bench import shared_fields as shared
from mustwright.bench.amounts import LIKELY, MOST_L, Use
from mustwright.bench.fields import FormPart, StepField, TypedFields
from mustwright.bench.liquid import MeadNow
from mustwright.bench.recording import AnsweredStep, added, gained
from mustwright.bench.step import FinishingStep
from mustwright.finishing.racking import RackAsk, Racking, rack
from mustwright.unit_system import measured_volume


def _work(typed: TypedFields) -> Racking:
    return rack(typed.ask(RackAsk, top_up=typed["top_up"] or None))


def _said(result: Racking) -> str:
    words = f"About {measured_volume(result.racked_l.value)} come over"
    after = result.volume_after_l.value
    if result.top_up_l is not None:
        topped = result.recorded.additions[0].name
        words += (
            f"; top up with {measured_volume(result.top_up_l.value)} of {topped}, "
            f"which makes {measured_volume(after)}"
        )
        if result.alcohol_after_pct is not None:
            words += f" at {result.alcohol_after_pct.value:.2f} % vol"
    elif result.headspace_l is not None:
        words += f" and leave {measured_volume(result.headspace_l.value)} of air above them"
    return f"{words}."


def _uses(result: Racking, volume_l: float) -> list[Use]:
    found = [Use("came_over", "Came over", "L", result.racked_l.value, volume_l)]
    if result.top_up_l is not None:
        likely = LIKELY * result.top_up_l.value
        found.append(Use("top_up", "Topped up with", "L", result.top_up_l.value, MOST_L, likely))
    return found


def _recorded(result: Racking, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    lost = case.volume_l - used["came_over"]
    if result.top_up_l is None or not used["top_up"] > 0:
        return StepDone("rack", lost_l=lost)
    one = result.recorded.additions[0]
    liquid = gained(case, result.racked_l.value)
    whole = result.top_up_l.value
    base = replace(added(case, one, one.grams.value, liquid), litres=whole)
    return StepDone("rack", (base.times(used["top_up"] / whole),), lost_l=lost)


def _meets(before: MeadNow, result: Racking) -> MeadNow:
    """What goes in meets what came over; the loss itself thins nothing."""
    return replace(before, volume_l=result.racked_l.value)


RACK = FinishingStep(
    "rack", Racking, "Rack it off the lees",
    "How much mead you get, the air above it, and what topping up does to volume and alcohol.",
    (
        FormPart("", (
            shared.VOLUME.but(label="Volume before, lees included", hint="20 L"),
            StepField("lees", "Lees", kind=kinds.KIND, default="gross_plain", choices=(
                ("", "first racking, honey and water"), ("gross_fruit", "first racking, off fruit"),
                ("fine", "later racking, fine lees"), ("fining", "off a fining agent"),
            )),
            StepField("by", "Racked by", kind=kinds.KIND, to="way", default="siphon", choices=(
                ("", "siphon"), ("pump", "pump"), ("tap", "tap above the lees"),
                ("gas", "pushed over with gas"),
            )),
            StepField("vessel", "Next vessel, to the brim", "19 L", kinds.VOLUME),
        )),
        FormPart("Top up", (
            StepField("top_up", "Top up with", kind=kinds.KIND, choices=(
                ("", "nothing"), ("mead", "mead"), ("water", "water"),
                ("honey water", "honey water"),
            )),
            shared.GRAVITY, shared.ALCOHOL,
            StepField("top_gravity", "Gravity of what tops it up",
                      "0.998; for mead and honey water", kinds.GRAVITY),
            StepField("top_alcohol", "Alcohol of the mead that tops it up", "12 %", kinds.ALCOHOL),
            StepField("headspace", "Room to leave",
                      "0.2 L; a hundredth of the vessel if not given", kinds.VOLUME),
        ), folded=True),
        FormPart("Measured lees, and the honey", (
            StepField("lees_depth", "Depth of the lees", "2 cm", kinds.LENGTH),
            StepField("diameter", "Diameter of the vessel", "27 cm", kinds.LENGTH),
            StepField("honey", "Honey in the honey water", "such as clover honey",
                      kinds.INGREDIENT, default="honey", known=shared.sweet_ingredients),
            shared.MOISTURE,
        ), folded=True),
    ),
    _work, _said, _recorded, _uses, _meets,
    title="Rack", cautions=("carbon_dioxide_room",),
)  # fmt: skip
