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
from mustwright.texts import kept, literal, say
from mustwright.unit_system import measured_volume


def _work(typed: TypedFields) -> Racking:
    return rack(typed.ask(RackAsk, top_up=typed["top_up"] or None))


def _said(result: Racking) -> str:
    over = measured_volume(result.racked_l.value)
    if result.top_up_l is not None:
        topped = say(
            "About {over} come over; top up with {amount} of {what}, which makes {volume}",
            over=over,
            amount=measured_volume(result.top_up_l.value),
            what=kept(result.recorded.additions[0].name),
            volume=measured_volume(result.volume_after_l.value),
        )
        alcohol = result.alcohol_after_pct
        if alcohol is None:
            return topped + "."
        return say("{topped} at {pct:.2f} % vol.", topped=topped, pct=alcohol.value)
    if result.headspace_l is not None:
        return say(
            "About {over} come over and leave {air} of air above them.",
            over=over,
            air=measured_volume(result.headspace_l.value),
        )
    return say("About {over} come over.", over=over)


def _uses(result: Racking, volume_l: float) -> list[Use]:
    found = [Use("came_over", say("Came over"), "L", result.racked_l.value, volume_l)]
    if result.top_up_l is not None:
        likely = LIKELY * result.top_up_l.value
        found.append(
            Use("top_up", say("Topped up with"), "L", result.top_up_l.value, MOST_L, likely)
        )
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
    "rack", Racking, say("Rack it off the lees"),
    say("How much mead you get, the air above it, and what topping up does to volume and "
        "alcohol."),
    (
        FormPart("", (
            shared.VOLUME.but(label=say("Volume before, lees included"), hint="20 L"),
            StepField("lees", say("Lees"), kind=kinds.KIND, default="gross_plain", choices=(
                ("", say("first racking, honey and water")),
                ("gross_fruit", say("first racking, off fruit")),
                ("fine", say("later racking, fine lees")), ("fining", say("off a fining agent")),
            )),
            StepField("by", say("Racked by"), kind=kinds.KIND, to="way", default="siphon", choices=(
                ("", say("siphon")), ("pump", say("pump")), ("tap", say("tap above the lees")),
                ("gas", say("pushed over with gas")),
            )),
            StepField("vessel", say("Next vessel, to the brim"), "19 L", kinds.VOLUME),
        )),
        FormPart(say("Top up"), (
            StepField("top_up", say("Top up with"), kind=kinds.KIND, choices=(
                ("", say("nothing")), ("mead", say("mead")), ("water", say("water")),
                ("honey water", say("honey water")),
            )),
            shared.GRAVITY, shared.ALCOHOL,
            StepField("top_gravity", say("Gravity of what tops it up"),
                      literal("{gravity}; for mead and honey water"), kinds.GRAVITY,
                      amounts=(("gravity", "0.998"),)),
            StepField("top_alcohol", say("Alcohol of the mead that tops it up"), "12 %",
                      kinds.ALCOHOL),
            StepField("headspace", say("Room to leave"),
                      literal("{litres}; a hundredth of the vessel if not given"), kinds.VOLUME,
                      amounts=(("litres", "0.2 L"),)),
        ), folded=True),
        FormPart(say("Measured lees, and the honey"), (
            StepField("lees_depth", say("Depth of the lees"), "2 cm", kinds.LENGTH),
            StepField("diameter", say("Diameter of the vessel"), "27 cm", kinds.LENGTH),
            StepField("honey", say("Honey in the honey water"), say("such as clover honey"),
                      kinds.INGREDIENT, default="honey", known=shared.sweet_ingredients),
            shared.MOISTURE,
        ), folded=True),
    ),
    _work, _said, _recorded, _uses, _meets,
    title=say("Rack"), cautions=("carbon_dioxide_room",),
)  # fmt: skip
