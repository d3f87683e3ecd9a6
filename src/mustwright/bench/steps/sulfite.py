"""Sulfite for a molecular target."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from mustwright.batch.finishing_record import StepDone
from mustwright.bench import kinds
from mustwright.bench import shared_fields as shared
from mustwright.bench.field_text import grams, milligrams
from mustwright.bench.fields import FormPart, StepField, TypedFields
from mustwright.bench.liquid import MeadNow
from mustwright.bench.recording import AnsweredStep, as_used, over
from mustwright.bench.step import FinishingStep
from mustwright.finishing.sulfite import SulfiteDose, sulfite_dose
from mustwright.finishing.sulfite_amount import SulfiteAsk
from mustwright.texts import kept, literal, say
from mustwright.unit_system import degrees


def _work(typed: TypedFields) -> SulfiteDose:
    return sulfite_dose(typed.ask(SulfiteAsk), typed.law)


def _said(result: SulfiteDose) -> str:
    free = milligrams(result.free_so2_mg_l)
    if result.weigh_g.value <= 0:
        return say("Add none: the {free} of free sulfur dioxide wanted are there.", free=free)
    amount = say("{amount} of {name}", amount=grams(result.weigh_g), name=kept(result.salt))
    if result.tablets is not None:
        amount = say(
            "{tablets:.0f} tablets ({amount})", tablets=result.tablets.value, amount=amount
        )
    elif result.stock_ml is not None:
        amount = say(
            "{stock_ml:.1f} mL of the stock ({amount})",
            stock_ml=result.stock_ml.value,
            amount=amount,
        )
    return say(
        "Add {amount}: free sulfur dioxide comes to {free}, the total to {total}. At {degrees} "
        "{molecular:.2f} mg/L of it is molecular.",
        amount=amount,
        free=free,
        total=milligrams(result.total_after_mg_l),
        degrees=degrees(result.dosed_for_c.value),
        molecular=result.molecular_kept_mg_l.value,
    )


def _recorded(result: SulfiteDose, case: AnsweredStep, used: Mapping[str, float]) -> StepDone:
    added = as_used(case, used)
    whole = result.weigh_g.value
    share = used["grams.1"] / whole if added and whole > 0 else 1.0
    to_add = max(result.free_to_add_mg_l.value, 0.0)
    free = result.free_so2_mg_l.value - to_add * (1 - share)
    return StepDone(
        "sulfite",
        added,
        after={"molecular_so2_mg_l": free * result.molecular_fraction.value},
        words=over(
            case, added, "total_so2_mg_l", result.total_after_mg_l, result.legal_total_mg_l,
            say("total sulfur dioxide"),
        ),
    )  # fmt: skip


def _leaves(before: MeadNow, result: SulfiteDose) -> dict[str, Any]:
    molecular = result.free_so2_mg_l.value * result.molecular_fraction.value
    return {"molecular_so2_mg_l": molecular, "ph": before.ph}


SULFITE = FinishingStep(
    "sulfite", SulfiteDose, say("Sulfite for a molecular target"),
    say("What to weigh, and how much free sulfur dioxide this pH and alcohol need in the coldest "
        "place you will keep it."),
    (
        FormPart("", (
            shared.VOLUME,
            shared.PH.but(needs=say("the pH of the mead, measured: no dose without it")),
            shared.ALCOHOL.needed(),
            shared.TEMPERATURE.but(default="20 C", taken=say("20 C taken")),
            StepField("keeping", say("Coldest it will be kept at"),
                      literal("{fridge} in a fridge; a cool cellar of {cellar} if not given"),
                      kinds.CELSIUS, amounts=(("fridge", "4 C"), ("cellar", "12 C"))),
            shared.MOLECULAR.but(
                label=say("Molecular sulfur dioxide wanted"),
                hint=literal("{low} for a dry mead"), amounts=(("low", "0.5 mg/L"),),
                to="molecular_mg_l",
                default="0.8 mg/L", taken=say("0.8 mg/L is used (common practice)"), fact="",
                known=lambda: ["0.5 mg/L", "0.8 mg/L"],
            ),
            shared.PROFILE,
        )),
        FormPart(say("Measured sulfur dioxide"), (
            shared.FREE, shared.TOTAL,
            StepField("binding", say("Share of an addition that gets bound"), "30 %",
                      kinds.PERCENT),
        ), folded=True),
        FormPart(say("How it is measured out"), (
            StepField("salt", say("Salt"), kind=kinds.KIND, default="potassium", choices=(
                ("", say("potassium metabisulfite")), ("sodium", say("sodium metabisulfite")),
            )),
            StepField("strength", say("Sulfur dioxide in your powder"), "57 %", kinds.PERCENT),
            StepField("stock", say("Stock solution, grams in 100 mL"), "10 %", kinds.PERCENT,
                      to="stock_g_100ml"),
            StepField("tablet", say("Metabisulfite in one tablet, by its label"), "0.44 g",
                      kinds.MASS),
            shared.SCALE.but(hint="0.01 g", default="0.01 g"),
            StepField("ionic_strength", say("Ionic strength in mol/L"),
                      literal("{usual} if not given"), kinds.NUMBER, amounts=(("usual", "0.038"),)),
        ), folded=True),
    ),
    _work, _said, _recorded, leaves=_leaves,
    title=say("Sulfite"), cautions=("sulfite_asthma",),
)  # fmt: skip
