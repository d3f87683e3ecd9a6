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
from mustwright.languages import NAMED
from mustwright.texts import Text, join, listed, say
from mustwright.unit_system import measured_volume
from mustwright.units import volume_l

MEAD = say("Mead", context="label")
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
        raise InputError(name, say("needs a size such as '750 mL' or '375 mL x 12'"), text)
    return Size(volume_l(text, name)[0])


def read_language(text: object, name: str = "label_language", _among: object = None) -> str:
    """The language of a label by its code; empty for the one it is shown in.

    Examples
    --------
    >>> read_language(" DE ")
    'de'
    """
    code = str(text).strip().lower()
    if code and code not in NAMED:
        raise InputError(name, say("needs one of {known}", known=", ".join(NAMED)), text)
    return code


def _work(typed: TypedFields) -> Bottling:
    day = typed["bottled"] or typed.today
    glass = {"container": typed["bottle"], "limit_bar": typed["limit"]}
    # A label under United States law says what it is in English.
    kind = str(typed["kind"]) if typed.law.id == "us" else typed["kind"]
    return bottle(typed.ask(BottleAsk, bottled=day, kind=kind, **glass), typed.law)


def _said(result: Bottling) -> str:
    filled = [_of_size(b.count.value, b.litres) for b in result.bottles if b.count.value]
    if not filled:
        return say("It does not fill one bottle of that size.")
    return say(
        "{count:.0f} bottles: {sizes}; {left} are left over.",
        count=result.bottle_count.value,
        sizes=join(say(" and "), filled),
        left=measured_volume(result.left_l.value),
    )


def _of_size(count: float, litres: float) -> Text:
    return say("{count:.0f} of {size}", count=count, size=volume_text(litres))


def _uses(result: Bottling, volume_l: float) -> list[Use]:
    filled = [
        Use(f"bottles.{i}", say("Bottles of {size} filled", size=volume_text(b.litres)), "",
            round(b.count.value), 100_000)
        for i, b in enumerate(result.bottles, 1)
    ]  # fmt: skip
    return [*filled, Use("left", say("Left over"), "L", result.left_l.value, volume_l)]


def _recorded(result: Bottling, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    filled = [(used[f"bottles.{i}"], b.litres) for i, b in enumerate(result.bottles, 1)]
    sizes = [_of_size(count, litres) for count, litres in filled if count > 0]
    whole = sum(count * litres for count, litres in filled)
    if whole + used["left"] > case.volume_l * (1 + 1e-9):
        raise InputError(
            "left",
            say(
                "needs bottles and rest within the {volume} there were",
                volume=measured_volume(case.volume_l),
            ),
            listed((measured_volume(whole), measured_volume(used["left"]))),
        )
    # Kept in the log, which is English.
    words = {"lot": result.lot_code, "bottles": " and ".join(sizes) or "none"}
    return StepDone("bottle", lost_l=case.volume_l - used["left"], words=words)


def _closes(typed: TypedFields, _result: Bottling) -> BottledAs:
    return BottledAs(
        "bottle", typed["stabilised"].lower(), typed["residual_sugar"], typed["co2"],
        typed["bottle"], typed["limit"],
    )  # fmt: skip


BOTTLE = FinishingStep(
    "bottle", Bottling, say("Bottles and labels"),
    say("How many bottles, what to prepare, what the label must say, and a sheet of labels to "
        "print."),
    (
        FormPart("", (
            shared.VOLUME,
            StepField("size", say("Bottles"), say("750 mL, or 375 mL x 12 for twelve of them"),
                      FieldKind("SIZE", read_size), to="sizes", many=True, rows=True,
                      default="750 mL", taken=say("750 mL taken")),
            shared.ALCOHOL,
            StepField("so2", say("Total sulfur dioxide"), "40 mg/L", kinds.MG_L,
                      to="total_so2_mg_l", fact="total"),
            shared.PROFILE, StepField("sparkling", say("Under pressure"), kind=kinds.FLAG),
        )),
        FormPart(say("What keeps it safe in the bottle"), (
            shared.STABILISED.but(hint=say("stated here it is written into the log"), fact=""),
            shared.CONTAINER.but(
                label=say("Bottle, where the mead sparkles"), fact="container",
                choices=(("", say("not said")), *shared.CONTAINER.choices[1:]),
            ),
            shared.LIMIT.but(fact="container_limit"),
        ), folded=True),
        FormPart(say("On the label"), (
            StepField("name", say("Name"), say("such as Dry Lane"), fact="batch_name"),
            StepField("kind", say("What it is"), default=MEAD),
            StepField("contents", say("Made of, with allergens"), say("such as honey, raspberries"),
                      fact="batch_contents"),
            StepField("maker", say("Who made it, and where")),
            StepField("label_language", say("Language of the label"),
                      say("that of the country of sale, where its law leaves it open"),
                      FieldKind("CODE", read_language, empty=""), to="language",
                      choices=(("", say("the one in use")), *NAMED.items())),
            shared.BATCH.but(label=say("Batch, for the lot code")),
            StepField("bottled", say("Day of bottling"), say("2026-03-01; today if not given"),
                      kinds.DAY),
        )),
        FormPart(say("Sheet, losses and gas"), (
            StepField("page", say("Paper of the label sheet"), kind=kinds.KIND,
                      choices=(("", "A4"), ("letter", say("Letter", context="paper")))),
            StepField("link", say("Address for a QR code on each label")),
            StepField("loss", say("Left behind in filling"), "0.3 L", kinds.VOLUME),
            StepField("co2", say("Gas it holds"), "2 g/L", kinds.G_L, fact="gas"),
            shared.SUGAR_NOW,
        ), folded=True),
    ),
    _work, _said, _recorded, _uses, closes=_closes, unread=("page", "link"),
    title=say("Bottle and label"), button=say("Count and label"),
    cautions=("pressure_glass", "priming_bomb", "allergens_named"),
)  # fmt: skip
