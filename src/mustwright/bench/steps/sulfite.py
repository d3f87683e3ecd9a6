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
from mustwright.unit_system import degrees


def _work(typed: TypedFields) -> SulfiteDose:
    return sulfite_dose(typed.ask(SulfiteAsk), typed.law)


def _said(result: SulfiteDose) -> str:
    free = milligrams(result.free_so2_mg_l)
    cold, kept = result.dosed_for_c, result.molecular_kept_mg_l
    if result.weigh_g.value <= 0:
        return f"Add none: the {free} of free sulfur dioxide wanted are there."
    amount = f"{grams(result.weigh_g)} of {result.salt}"
    if result.tablets is not None:
        amount = f"{result.tablets.value:.0f} tablets ({amount})"
    elif result.stock_ml is not None:
        amount = f"{result.stock_ml.value:.1f} mL of the stock ({amount})"
    return (
        f"Add {amount}: free sulfur dioxide comes to {free}, the total to "
        f"{milligrams(result.total_after_mg_l)}. At {degrees(cold.value)} {kept.value:.2f} mg/L "
        "of it is molecular."
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
            "total sulfur dioxide",
        ),
    )  # fmt: skip


def _leaves(before: MeadNow, result: SulfiteDose) -> dict[str, Any]:
    molecular = result.free_so2_mg_l.value * result.molecular_fraction.value
    return {"molecular_so2_mg_l": molecular, "ph": before.ph}


SULFITE = FinishingStep(
    "sulfite", SulfiteDose, "Sulfite for a molecular target",
    "What to weigh, and how much free sulfur dioxide this pH and alcohol need in the coldest "
    "place you will keep it.",
    (
        FormPart("", (
            shared.VOLUME,
            shared.PH.but(needs="the pH of the mead, measured: no dose without it"),
            shared.ALCOHOL.needed(),
            shared.TEMPERATURE.but(default="20 C", taken="20 C taken"),
            StepField("keeping", "Coldest it will be kept at",
                      "4 C in a fridge; a cool cellar of 12 C if not given", kinds.CELSIUS),
            shared.MOLECULAR.but(
                label="Molecular sulfur dioxide wanted",
                hint="0.5 mg/L for a dry mead", to="molecular_mg_l",
                default="0.8 mg/L", taken="0.8 mg/L taken (common practice)", fact="",
                known=lambda: ["0.5 mg/L", "0.8 mg/L"],
            ),
            shared.PROFILE,
        )),
        FormPart("Measured sulfur dioxide", (
            shared.FREE, shared.TOTAL,
            StepField("binding", "Share of an addition that gets bound", "30 %", kinds.PERCENT),
        ), folded=True),
        FormPart("How it is measured out", (
            StepField("salt", "Salt", kind=kinds.KIND, default="potassium", choices=(
                ("", "potassium metabisulfite"), ("sodium", "sodium metabisulfite"),
            )),
            StepField("strength", "Sulfur dioxide in your powder", "57 %", kinds.PERCENT),
            StepField("stock", "Stock solution, grams in 100 mL", "10 %", kinds.PERCENT,
                      to="stock_g_100ml"),
            StepField("tablet", "Metabisulfite in one tablet, by its label", "0.44 g", kinds.MASS),
            shared.SCALE.but(hint="0.01 g", default="0.01 g"),
            StepField("ionic_strength", "Ionic strength in mol/L", "0.038 if not given",
                      kinds.NUMBER),
        ), folded=True),
    ),
    _work, _said, _recorded, leaves=_leaves,
    title="Sulfite", cautions=("sulfite_asthma",),
)  # fmt: skip
