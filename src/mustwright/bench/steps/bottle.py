"""How many bottles, what to lay out, what the label says, and a sheet of labels."""

from __future__ import annotations

import re
from collections.abc import Mapping

from mustwright.batch.finishing_record import StepDone
from mustwright.batch.too_soon import BottledAs
from mustwright.bench import kinds
from mustwright.bench import shared_fields as shared
from mustwright.bench.amounts import Use
from mustwright.bench.fields import FormPart, StepField, TypedFields
from mustwright.bench.kinds import FieldKind
from mustwright.bench.recording import AnsweredStep
from mustwright.bench.step import FinishingStep
from mustwright.errors import InputError
from mustwright.finishing.bottling import Bottling, bottle
from mustwright.finishing.label_facts import BottleAsk, Size, volume_text
from mustwright.unit_system import measured_volume
from mustwright.units import volume_l

_COUNTED = re.compile(r"(.+?)\s*[x*]\s*(\d{1,6})\s*")


def read_size(text: object, name: str = "size", _among: object = None) -> Size:
    """A size of bottle, perhaps with a count.

    Examples
    --------
    >>> read_size("375 mL x 12")
    Size(litres=0.375, count=12)
    """
    if isinstance(text, str):
        counted = _COUNTED.fullmatch(text)
        if counted:
            return Size(volume_l(counted[1], name)[0], int(counted[2]))
    elif not isinstance(text, int | float):
        raise InputError(name, "needs a size such as '750 mL' or '375 mL x 12'", text)
    return Size(volume_l(text, name)[0])


def _work(typed: TypedFields) -> Bottling:
    day = typed["bottled"] or typed.today
    return bottle(typed.ask(BottleAsk, bottled=day), typed.law)


def _said(result: Bottling) -> str:
    filled = [
        f"{b.count.value:.0f} of {volume_text(b.litres)}" for b in result.bottles if b.count.value
    ]
    if not filled:
        return "It does not fill one bottle of that size."
    kinds_of = " and ".join(filled)
    count, left = result.bottle_count.value, result.left_l.value
    return f"{count:.0f} bottles: {kinds_of}; {measured_volume(left)} are left over."


def _uses(result: Bottling, volume_l: float) -> list[Use]:
    filled = [
        Use(f"bottles.{i}", f"Bottles of {volume_text(b.litres)} filled", "", round(b.count.value),
            100_000)
        for i, b in enumerate(result.bottles, 1)
    ]  # fmt: skip
    return [*filled, Use("left", "Left over", "L", result.left_l.value, volume_l)]


def _recorded(result: Bottling, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    filled = [(used[f"bottles.{i}"], b.litres) for i, b in enumerate(result.bottles, 1)]
    sizes = [f"{count:.0f} of {volume_text(litres)}" for count, litres in filled if count > 0]
    whole = sum(count * litres for count, litres in filled)
    if whole + used["left"] > case.volume_l * (1 + 1e-9):
        raise InputError(
            "left",
            f"needs bottles and rest within the {measured_volume(case.volume_l)} there were",
            f"{measured_volume(whole)} and {measured_volume(used['left'])}",
        )
    words = {"lot": result.lot_code, "bottles": " and ".join(sizes) or "none"}
    return StepDone("bottle", lost_l=case.volume_l - used["left"], words=words)


def _closes(typed: TypedFields, _result: Bottling) -> BottledAs:
    return BottledAs(
        "bottle", typed["stabilised"].lower(), typed["residual_sugar"], typed["co2"],
        typed["bottle"], typed["limit"],
    )  # fmt: skip


BOTTLE = FinishingStep(
    "bottle", Bottling, "Bottles and labels",
    "How many bottles, what to prepare, what the label must say, and a sheet of labels to print.",
    (
        FormPart("", (
            shared.VOLUME,
            StepField("size", "Bottles", "750 mL, or 375 mL x 12 for twelve of them",
                      FieldKind("SIZE", read_size), to="sizes", many=True, rows=True,
                      default="750 mL", taken="750 mL taken"),
            shared.ALCOHOL,
            StepField("so2", "Total sulfur dioxide", "40 mg/L", kinds.MG_L, to="total_so2_mg_l",
                      fact="total"),
            shared.PROFILE, StepField("sparkling", "Under pressure", kind=kinds.FLAG),
        )),
        FormPart("What keeps it safe in the bottle", (
            shared.STABILISED.but(hint="stated here it is written into the log", fact=""),
            shared.CONTAINER.but(
                label="Bottle, where the mead sparkles", fact="container",
                choices=(("", "not said"), *shared.CONTAINER.choices[1:]),
            ),
            shared.LIMIT.but(fact="container_limit"),
        ), folded=True),
        FormPart("On the label", (
            StepField("name", "Name", "such as Dry Lane", fact="batch_name"),
            StepField("kind", "What it is", default="Mead"),
            StepField("contents", "Made of, with allergens", "such as honey, raspberries"),
            StepField("maker", "Who made it, and where"),
            shared.BATCH.but(label="Batch, for the lot code"),
            StepField("bottled", "Day of bottling", "2026-03-01; today if not given", kinds.DAY),
        )),
        FormPart("Sheet, losses and gas", (
            StepField("page", "Paper of the label sheet", kind=kinds.KIND,
                      choices=(("", "A4"), ("letter", "Letter"))),
            StepField("link", "Address for a QR code on each label"),
            StepField("loss", "Left behind in filling", "0.3 L", kinds.VOLUME),
            StepField("co2", "Gas it holds", "2 g/L", kinds.G_L, fact="gas"),
            shared.SUGAR_NOW,
        ), folded=True),
    ),
    _work, _said, _recorded, _uses, closes=_closes, unread=("page", "link"),
    title="Bottle and label", button="Count and label",
    cautions=("pressure_glass", "priming_bomb", "allergens_named"),
)  # fmt: skip
