"""Blend two to six lots to targets."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from mustwright.batch.finishing_record import StepDone
from mustwright.bench import kinds
from mustwright.bench import shared_fields as shared
from mustwright.bench.amounts import Use
from mustwright.bench.fields import FormPart, StepField, TypedFields
from mustwright.bench.kinds import RANGE, FieldKind, range_of
from mustwright.bench.liquid import MeadNow
from mustwright.bench.recording import AnsweredStep
from mustwright.bench.step import FinishingStep
from mustwright.errors import ImpossibleError, InputError
from mustwright.finishing.blending import BlendResult, blend_lots
from mustwright.finishing.lots import QUANTITIES, BlendTarget, Lot
from mustwright.must.gravity_text import gravity_text
from mustwright.texts import join, listed, literal, say
from mustwright.unit_system import measured_volume

LOT = (
    FormPart("", (
        StepField("name", say("Name"), say("such as old"), fact="batch"),
        shared.VOLUME.but(label=say("How much there is"), hint="10 L", to="available_l"),
        shared.ALCOHOL.needed(), shared.GRAVITY.but(label=say("Gravity"), hint="1.012").needed(),
    )),
    FormPart(say("More of part"), (
        shared.ACIDITY.but(label=say("Acidity, as tartaric")),
        StepField("so2", say("Total sulfur dioxide"), "60 mg/L", kinds.MG_L, fact="total"),
        StepField("sugar", say("Sugar"), "20 g/L", kinds.G_L, fact="residual_sugar"),
        StepField("colour", say("Colour, your own note"), literal("{low} to {high}"), kinds.NUMBER,
                  amounts=(("low", "0"), ("high", "10"))),
        StepField("price", say("Price of a litre"), "3", kinds.NUMBER, to="price_per_l"),
        StepField("least", say("Use at least"), "2 L", kinds.VOLUME),
    ), folded=True),
)  # fmt: skip
LOT_FIELDS = tuple(one for part in LOT for one in part.fields)
LOT_KEYS = {one.name: one for one in LOT_FIELDS}


def read_lot(value: object, where: str, _among: object = None) -> Lot:
    """One lot, from text or from a table of named values."""
    pairs = lot_pairs(value, where)
    for key in pairs:
        if key not in LOT_KEYS:
            raise InputError(where, say("knows only {known}", known=", ".join(LOT_KEYS)), key)
    for key in ("volume", "alcohol", "gravity"):
        if key not in pairs:
            raise InputError(where, say("needs its {key}", key=key), None)
    try:
        typed = TypedFields(LOT_FIELDS, pairs)
    except InputError as error:
        raise type(error)(f"{where}.{error.field}", error.requirement, error.got) from None
    return typed.ask(Lot, name=typed["name"] or _called(where), least_l=typed["least"] or 0.0)


def _called(where: str) -> str:
    """A part without a name of its own, by where it stands (``lot 2``)."""
    number = where.rpartition(" ")[2]
    return say("part {number}", number=number) if number.isdecimal() else where


def lot_pairs(value: object, where: str) -> dict[str, object]:
    """One lot as a table of named values, none of them read yet."""
    return dict(value) if isinstance(value, Mapping) else {**_pairs(value, where)}


def read_target(value: object, where: str = "target", _among: object = None) -> BlendTarget:
    """One target such as ``alcohol=12 %`` or ``gravity=1.008 to 1.012``.

    Examples
    --------
    >>> read_target("so2=0 to 90 mg/L")
    BlendTarget(quantity='so2', low=0.0, high=90.0)
    """
    pairs = _pairs(value, where)
    if len(pairs) != 1:
        raise InputError(where, say("needs one quantity such as 'alcohol=12 %'"), value)
    [(quantity, wanted)] = pairs.items()
    if quantity not in QUANTITIES:
        raise InputError(where, say("needs one of {known}", known=", ".join(QUANTITIES)), quantity)
    where = f"{where}.{quantity}"
    ends = RANGE.split(wanted)
    unit = re.sub(r"^[\s+\-\d.,]*", "", ends[-1])
    if len(ends) == 2 and re.fullmatch(r"[\s+\-\d.,]*", ends[0]) and unit:
        wanted = f"{ends[0]} {unit} to {ends[1]}"
    low, high = range_of(wanted, where, LOT_KEYS[quantity].kind.dimension)
    factor = 1000.0 if quantity == "so2" and unit else 1.0
    low, high = low * factor, high * factor
    if abs(low) > 1e6 or abs(high) > 1e6:
        raise InputError(where, say("needs a value in reach"), wanted)
    return BlendTarget(quantity, low, high)


def _pairs(value: object, where: str) -> dict[str, str]:
    """``a=b, c=d`` as a table."""
    pairs: dict[str, str] = {}
    if not isinstance(value, str):
        raise InputError(where, say("needs text such as 'alcohol=12 %'"), value)
    for part in re.split(r",(?!\d)", value):
        key, equal, text = part.partition("=")
        key = key.strip().lower()
        if not equal or not key or not text.strip():
            raise InputError(
                where, say("needs parts such as 'alcohol=12 %', with commas between"), part
            )
        if key in pairs:
            raise InputError(where, say("needs each name once"), key)
        pairs[key] = text.strip()
    return pairs


def _work(typed: TypedFields) -> BlendResult:
    return blend_lots(
        typed["lot"], typed["target"], typed.law, volume_l=typed["volume"],
        cheapest=typed["cheapest"],
    )  # fmt: skip


def _said(result: BlendResult) -> str:
    parts = [
        say("{amount} of {name}", amount=measured_volume(p.litres.value), name=p.name)
        for p in result.parts
        if p.litres.value >= 0.005
    ]
    made = say(
        "{lots} make {volume} at {alcohol_pct:.2f} % vol and gravity {gravity}.",
        lots=listed(parts),
        volume=measured_volume(result.volume_l.value),
        alcohol_pct=result.alcohol_pct.value,
        gravity=gravity_text(result.gravity.value, 4),
    )
    return made if result.feasible else join(" ", (result.words, made))


def _uses(result: BlendResult, _volume_l: float) -> list[Use]:
    found = []
    for i, part in enumerate(result.parts, 1):
        available = part.litres.inputs.get("available_l")
        most = float(part.litres.value if available is None else available)
        found.append(
            Use(
                f"litres.{i}",
                say("{name}, poured", name=part.name),
                "L",
                part.litres.value,
                most,
            )
        )
    return found


def _recorded(_result: BlendResult, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    if case.own is None:
        raise ImpossibleError(
            "lot",
            say("needs this batch among the parts to be written into it"),
            say("none of them"),
        )
    poured = [used[f"litres.{i}"] for i in range(1, len(case.lots) + 1)]
    added = tuple(
        lot.times(litres)
        for i, (lot, litres) in enumerate(zip(case.lots, poured, strict=True))
        if i != case.own and litres > 0
    )
    words = {"stabilised": ""} if added else {}
    return StepDone("blend", added, lost_l=max(case.volume_l - poured[case.own], 0.0), words=words)


def _meets(before: MeadNow, _result: BlendResult) -> MeadNow:
    """A liquid of its own."""
    return MeadNow(profile=before.profile, batch=before.batch)


def _wanted(
    name: str, label: str, hint: str, amounts: tuple[tuple[str, str], ...] = ()
) -> StepField:
    scaled = LOT_KEYS[name].kind.scaled
    return StepField(
        f"target.{name}",
        label,
        hint,
        replace(kinds.TEXT, scaled=scaled),
        amounts=amounts,
    )


BLEND = FinishingStep(
    "blend", BlendResult, say("Blend to targets"),
    say(
        "How much of two to six parts to mix to meet all your targets, or to come as near as "
        "possible."),
    (
        FormPart(say("Targets: a value or a range"), (
            _wanted("alcohol", say("Alcohol wanted"), literal("{one} %, or {low} to {high} %"),
                    (("one", "12"), ("low", "11.5"), ("high", "12.5"))),
            _wanted("gravity", say("Gravity wanted"), literal("{one}, or {low} to {high}"),
                    (("one", "1.008"), ("low", "1.006"), ("high", "1.010"))),
            _wanted("acidity", say("Acidity wanted"), "5.5 g/L"),
            _wanted("so2", say("Total sulfur dioxide wanted"), literal("{low} to {high} mg/L"),
                    (("low", "0"), ("high", "90"))),
        )),
        FormPart(say("More targets"), (
            _wanted("sugar", say("Sugar wanted"), literal("{low} to {high} g/L"),
                    (("low", "20"), ("high", "30"))),
            _wanted("colour", say("Colour wanted"), say("your own note from 0 to 10")),
        ), folded=True),
        FormPart("", (
            shared.VOLUME.but(label=say("Volume wanted"), needs="", fact="",
                              hint=literal("{litres}; as much as can be made if not given"),
                              amounts=(("litres", "15 L"),)),
            StepField("cheapest",
                      say("Find the cheapest blend within the targets, not the one nearest their "
                          "middles"),
                      kind=kinds.FLAG),
            shared.PROFILE,
        )),
    ),
    _work, _said, _recorded, _uses, _meets,
    gathered=(
        StepField(
            "lot", say("A part of the blend, two to six times"),
            literal("'volume=10 L, alcohol=14 %, gravity={gravity}' or 'batch=BATCH', and as known "
                "name, acidity, so2, sugar, colour, price, least"),
            FieldKind("'NAME=VALUE, ...'", read_lot), many=True, numbered=True,
            amounts=(("gravity", "1.012"),),
        ),
        StepField("target", say("A target; repeat it for each"),
                  literal("'alcohol=12 %' or 'gravity={low} to {high}'"),
                  FieldKind("GOAL", read_target), many=True,
                  amounts=(("low", "1.008"), ("high", "1.012"))),
    ),
    lot=LOT, title=say("Blend"), button=say("Find the blend"), cautions=("bench_first",),
)  # fmt: skip
